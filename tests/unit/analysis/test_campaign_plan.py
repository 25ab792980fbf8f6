import csv
import json
import math
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest

from analysis import campaign_plan as cp
from analysis.campaign_plan import Design, Plan
from analysis.drill_advice import nearest_drills
from analysis.plan_expectation import expect, read_expectation
from analysis.plan_folder import record_departure, write_plan
from analysis.plan_reading import read_departures, read_plan
from analysis.plan_sheets import drill_lines, label_sheet, printable_list
from daq.faults import InputFault
from tui.cli import main

RIG = Path(__file__).parents[3] / "simulators" / "rigs" / "ossel-brook-b4.toml"


def design(replicates: int = 1, seed: int = 7) -> Design:
    factors = (cp.read_factor("pilot=8.0 mm,8.5 mm,9.0 mm"), cp.read_factor("wax=dry,wax"))
    boards = (cp.read_board("A: density_kg_m3=702, moisture_pct=10.1"), cp.read_board("B"))
    return Design(factors, boards, replicates, seed, cp.read_pair("major_mm=10"))


def plan(replicates: int = 1, seed: int = 7) -> Plan:
    made = design(replicates, seed)
    return Plan(made, cp.make_pulls(made), question='Does "pilot" matter?', decided="10 %\nor not")


def test_levels_keep_what_was_typed() -> None:
    first = cp.read_factor("pilot=No. 21,7/32 in,F drill").levels
    assert [level.text for level in first] == ["No. 21", "7/32 in", "F drill"]
    assert first[0].values == {"pilot_mm": pytest.approx(4.0386), "drill": "No. 21"}
    assert cp.read_factor("penetration=14 mm,20 mm").levels[0].values == {"penetration_mm": 14.0}
    assert cp.read_factor("wax=dry,wax").levels[1].values == {"wax": "wax"}
    assert cp.read_factor("fastener=No. 8,No. 10").levels[0].values == {"fastener": "No. 8"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("pilot", "write name=level"),
        ("pilot=8 mm", "two levels at least"),
        ("pilot=8 mm,", "none empty"),
        ("pilot=8 mm,8.0 mm", "stands twice"),
        ("pilot=8,9", "has no unit"),
        ("pilot_mm=8,nine", "not a plain number"),
        ("wax=dry,dry", "stands twice"),
        ("wax=dry,=1+1", "spreadsheet"),
        ("edge=40 mm,far", "a unit, or none"),
        ("label=1,2", "the plan fills"),
    ],
)
def test_bad_factors_are_explained(text: str, words: str) -> None:
    with pytest.raises(InputFault, match=words):
        cp.read_factor(text)


def test_every_combination_stands_in_every_board() -> None:
    counts = Counter((p.board, *p.levels.values()) for p in plan(replicates=2).pulls)
    assert len(counts) == 2 * 3 * 2
    assert set(counts.values()) == {2}


def test_the_same_seed_gives_the_same_list_and_another_does_not() -> None:
    assert plan(seed=7).pulls == plan(seed=7).pulls
    assert plan(4, seed=7).pulls != plan(4, seed=8).pulls


def test_labels_and_runs_follow_the_list() -> None:
    pulls = plan().pulls
    assert [pull.run for pull in pulls] == list(range(1, 13))
    assert [pull.label for pull in pulls[:3]] == ["A-01", "A-02", "A-03"]
    assert pulls[6].label == "B-01" and pulls[0].specimen["density_kg_m3"] == 702
    assert pulls[0].specimen["label"] == "A-01" and pulls[0].specimen["major_mm"] == 10


def test_the_shuffle_favours_no_place() -> None:
    """Each of 6 combinations comes first in 1 of 6 lists: chi-square 5 df, 0.1 % point 20.5."""
    first = Counter(tuple(plan(seed=seed).pulls[0].levels.values()) for seed in range(1200))
    chi2 = sum((count - 200) ** 2 / 200 for count in first.values())
    assert len(first) == 6 and chi2 < 20.5


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"boards": ()}, "one board"),
        ({"replicates": 0}, "one at least"),
        ({"seed": -1}, "from 0 up"),
        ({"boards": (cp.Board("A"), cp.Board("a"))}, "named twice"),
        ({"fixed": {"wax": "dry"}}, "wax is also fixed"),
        ({"replicates": 1000}, "over 10000 pulls"),
    ],
)
def test_a_design_that_cannot_be_is_refused(changed: dict[str, object], words: str) -> None:
    from dataclasses import replace

    with pytest.raises(InputFault, match=words):
        cp.make_pulls(replace(design(), **changed))


@pytest.mark.parametrize(
    ("cov", "difference", "needed"),
    [(0.10, 0.10, 17), (0.15, 0.10, 37), (0.15, 0.20, 10), (0.20, 0.20, 17), (0.10, 0.30, 4)],
)
def test_pulls_per_level(cov: float, difference: float, needed: int) -> None:
    """Two-sided t test 5 %, power 80 %, exact non-central t, computed apart from this program."""
    assert cp.needed_per_level(cov, difference) == needed


def test_replicates_reach_what_is_needed() -> None:
    factors = design().factors
    assert cp.replicates_for(10, factors, boards=5) == 1  # 5 boards x 2 of wax at each pilot
    assert cp.replicates_for(11, factors, boards=5) == 2
    assert cp.replicates_for(7, (), boards=3) == 3
    assert plan(replicates=2).design.pulls_per_level == 8


def test_nearest_drills_by_series() -> None:
    """Inch decimals of 21/64, Q and No. 21: twist-drill tables (common practice)."""
    fraction, named, metric = nearest_drills(8.5)
    assert (fraction.name, named.name, metric.name) == ("21/64 in", "Q", "8.5 mm")
    assert fraction.difference_mm == pytest.approx(21 / 64 * 25.4 - 8.5, abs=1e-4)
    assert nearest_drills(4.04)[1].name == "No. 21"


def test_next_and_departures(tmp_path: Path) -> None:
    made = plan()
    assert cp.next_pull(made, ()) is made.pulls[0]
    assert cp.next_pull(made, {"A-01", "A-02"}) is made.pulls[2]
    assert cp.next_pull(made, {pull.label for pull in made.pulls}) is None
    assert cp.departure_of(made, {"A-01"}, "A-02") is None
    assert "where A-02 was next" in str(cp.departure_of(made, {"A-01"}, "A-04"))
    assert "not on the list" in str(cp.departure_of(made, (), "Z-01"))
    assert "pulled before" in str(cp.departure_of(made, {"A-01"}, "A-01"))

    assert read_departures(tmp_path) == ()
    when = datetime(2026, 5, 2, 9, 30, tzinfo=UTC)
    record_departure(tmp_path, "A-04", "pulled where A-02 was next", "=split, drilled anew", when)
    record_departure(tmp_path, "A-05", "pulled again", "grip slipped", when)
    first, second = read_departures(tmp_path)
    assert first["reason"] == "'=split, drilled anew" and second["label"] == "A-05"
    with pytest.raises(InputFault, match="needs its reason"):
        record_departure(tmp_path, "A-05", "pulled again", " ", when)


def test_no_text_of_a_plan_is_a_formula_to_a_spreadsheet(tmp_path: Path) -> None:
    """OWASP, "CSV Injection": a cell that begins with = + - @ runs. Refused, and never written."""
    for text in ("=1+1", "+1", "-dry", "@dry", "\uff1d1"):
        with pytest.raises(InputFault, match="spreadsheet"):
            cp.specimen_values("wax", text)
    levels = tuple(cp.Level(text, {"wax": text}) for text in ("=1+1", "@dry"))
    made = Design((cp.Factor("wax", levels),), (cp.Board("-A"),), 1, 7, {})
    write_plan(tmp_path / "new", Plan(made, cp.make_pulls(made)))
    with (tmp_path / "new" / "pulls.csv").open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert "'=1+1" in cells and "'-A-01" in cells
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells)


def test_the_folder_reads_back_as_it_was(tmp_path: Path) -> None:
    made = plan(replicates=2)
    write_plan(tmp_path / "new", made)
    back = read_plan(tmp_path / "new")
    assert back.design == made.design
    assert [(p.label, p.run, p.specimen) for p in back.pulls] == [
        (p.label, p.run, p.specimen) for p in made.pulls
    ]
    assert (back.question, back.decided) == (made.question, made.decided)
    assert math.isnan(back.stop_n) and back.needed_per_level is None


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    write_plan(tmp_path / "new", plan())
    before = (tmp_path / "new" / "pulls.csv").read_bytes()
    with pytest.raises(InputFault, match="new folder"):
        write_plan(tmp_path / "new", plan(seed=8))
    assert (tmp_path / "new" / "pulls.csv").read_bytes() == before


def test_a_list_put_in_another_order_by_hand_holds(tmp_path: Path) -> None:
    write_plan(tmp_path / "new", plan())
    path = tmp_path / "new" / "pulls.csv"
    head, *rows = path.read_text().splitlines()
    path.write_text("\n".join([head, *reversed(rows)]) + "\n")
    assert read_plan(tmp_path / "new").pulls[0].label == "B-06"


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("pulls.csv", "A-03", "A-33", r"pulls\.csv:4: label"),
        ("pulls.csv", ",9.0 mm,", ",9.5 mm,", "where plan.toml gives '9.0 mm'"),
        ("plan.toml", "seed = 7", "seed = -7", r"plan\.toml:\d+: plan\.seed"),
        ("plan.toml", "seed = 7", "sead = 7", "nearest: seed"),
        ("plan.toml", "[fixed]", "[fixxed]", "nearest: fixed"),
        ("plan.toml", '"dry", "wax"', '"dry"', r"plan\.toml:\d+: factor\.2: .*two levels"),
        ("plan.toml", "seed = 7", "seed = ", "is not TOML"),
    ],
)
def test_a_damaged_plan_names_the_place(
    tmp_path: Path, file: str, old: str, new: str, words: str
) -> None:
    write_plan(tmp_path / "new", plan())
    path = tmp_path / "new" / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    with pytest.raises(InputFault, match=words):
        read_plan(tmp_path / "new")


def test_a_missing_row_is_said(tmp_path: Path) -> None:
    write_plan(tmp_path / "new", plan())
    path = tmp_path / "new" / "pulls.csv"
    path.write_text("\n".join(path.read_text().splitlines()[:-1]) + "\n")
    with pytest.raises(InputFault, match="11 pulls where the plan has 12: B-06 missing"):
        read_plan(tmp_path / "new")


def test_a_stated_force_against_the_stop() -> None:
    pull = plan().pulls[0]
    below = expect(pull, read_expectation("4.5 kN"), 6200.0)
    assert below.expected_n == 4500 and below.expected_of_stop == pytest.approx(0.7258, abs=1e-4)
    assert "at least" in expect(pull, read_expectation("6.2 kN"), 6200.0).expected_note


def test_a_published_force_takes_the_board_it_is_for() -> None:
    """Lag screw Eq. 8-14: 560 kg/m3 at 12 % is G12 0.50; 9.5 mm, 60 mm of thread: 14,394 N."""
    boards = (cp.read_board("A: density_kg_m3=560, moisture_pct=12"), cp.read_board("B"))
    fixed = {"shank_mm": 9.5, "penetration_mm": 60.0, "species": "some hardwood"}
    known, unknown = cp.make_pulls(Design((), boards, 1, 1, fixed))
    found = expect(known, read_expectation("lag-screw source=handbook"), 6200.0)
    assert found.expected_n == pytest.approx(14394.5, rel=1e-4)
    assert "Eq. 8-14" in found.expected_note
    left = expect(unknown, read_expectation("lag-screw"), 6200.0)
    assert math.isnan(left.expected_n) and "not enough is known" in left.expected_note


@pytest.mark.parametrize("text", ["4.5", "wod-screw", "-2 kN", "lag-screw G13=0.5"])
def test_an_expectation_that_is_none(text: str) -> None:
    with pytest.raises(InputFault):
        read_expectation(text)


def test_sheets_show_every_label_and_the_bite() -> None:
    made = Plan(
        Design(design().factors, design().boards, 1, 7, {"major_mm": 10.0, "minor_mm": 8.2}), ()
    )
    made = Plan(made.design, cp.make_pulls(made.design), question="Why?", decided="before")
    for text in (printable_list(made), label_sheet(made)):
        assert all(pull.label in text for pull in made.pulls)
    assert "bite 0.75 mm (83 %)" in drill_lines(made)[1]
    assert "Decided before looking: before" in printable_list(made)


def test_the_command_writes_what_it_prints(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "inserts"
    words = ["plan", str(folder), "--factor", "pilot=8.0 mm,9.0 mm", "--factor", "wax=dry,wax"]
    words += ["--board", "A", "--board", "B", "--cov", "12 %", "--difference", "20 %"]
    words += ["--seed", "5", "--expect", "4.5 kN", "--rig", str(RIG), "--fixed", "major_mm=10"]
    assert main([*words, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["seed"] == 5 and document["replicates"] == 2
    assert document["needed_per_level"] == 7 and document["pulls_per_level"] == 8
    pulls = document["pulls"]
    with (folder / "pulls.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["label"] for row in rows] == [pull["label"] for pull in pulls]
    assert set(pulls[0]) >= {"label", "run", "board", "levels", "drills", "expected_n", "pilot_mm"}
    assert pulls[0]["expected_n"] == 4500 and document["stop_n"] == 6200
    assert main(words) == 2
    assert "new folder" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--board", "A", "--cov", "12 %"], "go together"),
        (["--board", "A", "--cov", "12", "--difference", "15 %"], "no percentage"),
        (["--board", "A/B"], "short name"),
        ([], "one board"),
        (["--board", "A", "--fixed", "x=1", "--fixed", "x=2"], "given twice"),
        (["--board", "A", "--rig", "nothing.toml"], "no such rig file"),
    ],
)
def test_bad_options_end_with_2_and_leave_no_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], words: str
) -> None:
    assert main(["plan", str(tmp_path / "new"), *options]) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "new").exists()
