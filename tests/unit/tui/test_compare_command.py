"""``pullstand compare``: options, JSON, and the page for people."""

import io
import json
import math
from pathlib import Path

import pytest
from rich.console import Console

import analysis.campaign
from analysis.comparison import compare
from analysis.pull_result import Kind, PullResult
from daq.faults import InputFault
from tui.cli import main
from tui.commands.compare import comparison_document, parse_bound
from tui.compare_page import page, strip

NAN = math.nan
HEAVY = {(8.0, "A"): (4.6, 4.8), (8.0, "B"): (4.3, 4.1), (9.0, "A"): (3.1, 3.3)}
HEAVY[9.0, "B"] = (2.8, 2.9)


def pull(force_n: float, kind: Kind, **specimen) -> PullResult:
    return PullResult(
        Path("made-up.h5"), specimen, kind, "withdrawal", force_n, 5.0, 9.0, 80.0, NAN, 0, NAN
    )


@pytest.fixture
def pulls() -> list[PullResult]:
    found = [
        pull(force * 1000, Kind.FAILED, pilot_mm=pilot, board=board)
        for (pilot, board), forces in HEAVY.items()
        for force in forces
    ]
    return [*found, pull(1200, Kind.INVALID, pilot_mm=8.0, board="A")]


@pytest.fixture
def loaded(monkeypatch, pulls):
    """The command reads these pulls instead of recordings; what it asked for is returned."""
    asked = {}

    def load_results(paths, where=None):
        asked.update(paths=list(paths), where=where)
        return pulls

    monkeypatch.setattr(analysis.campaign, "load_results", load_results)
    return asked


def test_json_follows_the_contract(loaded, capsys):
    """The keys that other programs read, forces in N, NaN as null."""
    options = ["--by", "pilot_mm", "--block", "board", "--where", "series=x", "--bound", "0.3 kN"]
    code = main(["compare", "there", *options, "--json"])
    document = json.loads(capsys.readouterr().out)
    assert code == 0
    assert loaded == {"paths": [Path("there")], "where": {"series": "x"}}
    first = document["groups"][0]
    wanted = "level n n_at_least n_invalid mean_n sd_n cov ci95_n characteristic_n geometric_mean_n"
    assert set(wanted.split()) <= set(first)
    assert (first["level"], first["n"], first["n_invalid"]) == (8.0, 4, 1)
    assert first["mean_n"] == pytest.approx(4450)
    assert {"f", "p", "df_between", "df_within"} <= set(document["anova"])
    assert {"f", "p"} <= set(document["welch"])
    pair = document["pairs"][0]
    assert {"a", "b", "difference_n", "ci95_n", "p", "verdict", "needed"} <= set(pair)
    assert (pair["a"], pair["b"], pair["verdict"]) == (9.0, 8.0, "matters")
    assert pair["difference_n"] == pytest.approx(-1425)
    assert pair["ci95_n"][0] < -1425 < pair["ci95_n"][1] < 0
    assert {"factor", "block", "rest"} <= set(document["variance_share"])
    assert document["bound_n"] == 300
    assert document["needed_per_group"] is None
    assert isinstance(document["warnings"], list)
    assert document["plateau"] is None  # two pilots


def test_the_page_says_the_verdict_before_any_figure(loaded, capsys):
    """A person reads the answer first; every pull is a mark, the invalid one is counted."""
    assert main(["compare", "there", "--by", "pilot_mm", "--block", "board"]) == 0
    text = capsys.readouterr().out
    assert text.index("9 against 8: matters") < text.index("Groups by pilot_mm")
    assert "1 invalid" in text
    assert "Model: one scatter for all pulls, the board taken out" in text


def test_an_unknown_key_ends_with_a_sentence(loaded, capsys):
    """Exit code 2, the nearest key, no traceback."""
    assert main(["compare", "there", "--by", "pilot"]) == 2
    assert 'nearest key there is: "pilot_mm"' in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "percent", "force_n"),
    [("10 %", 10.0, NAN), ("7.5%", 7.5, NAN), ("0.3 kN", NAN, 300.0), ("50 kgf", NAN, 490.3325)],
)
def test_bounds_are_a_share_or_a_force(text, percent, force_n):
    """As a person writes them."""
    bound = parse_bound(text)
    assert bound.stated
    assert bound.percent == pytest.approx(percent, nan_ok=True)
    assert bound.force_n == pytest.approx(force_n, nan_ok=True)


@pytest.mark.parametrize("text", ["10", "ten %", "0 %", "-5 %", "nan %", "inf %", "3 kg", ""])
def test_a_bound_that_is_none_is_refused(text):
    """With what is meant instead."""
    with pytest.raises(InputFault, match="--bound"):
        parse_bound(text)


def test_the_strip_keeps_every_pull(pulls):
    """Two pulls in one column become a digit, a pull that ended whole another mark."""
    same = [pull(4000, Kind.FAILED, pilot_mm=8) for _ in range(3)]
    ends = [pull(3000, Kind.FAILED, pilot_mm=8), pull(5000, Kind.AT_LEAST, pilot_mm=8)]
    line = strip(compare([*same, *ends], "pilot_mm").groups[0], 3000, 5000)
    assert (line[0], line[-1]) == ("\u2022", ">")
    assert line.strip("\u2022> ") == "3"


def test_hostile_names_are_text_only(pulls):
    """Markup in a level is shown, not obeyed."""
    odd = [pull(4000 + i, Kind.FAILED, coating="[red]x[/red]") for i in range(3)]
    odd += [pull(4100 + i, Kind.FAILED, coating="[/]") for i in range(3)]
    out = io.StringIO()
    console = Console(file=out, width=100)
    for part in page(compare(odd, "coating")):
        console.print(part)
    assert "[red]x[/red]" in out.getvalue()


def test_document_of_a_single_level_is_complete(pulls):
    """No model, no pairs: null and empty, not missing."""
    document = comparison_document(compare(pulls[:2], "pilot_mm"))
    assert document["anova"] is None
    assert document["pairs"] == []
