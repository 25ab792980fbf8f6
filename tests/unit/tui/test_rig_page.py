"""The page "will the rig take it", as a person reads it, and the command that prints it."""

import io
import json
from pathlib import Path

import pytest
from rich.console import Console

import simulators
from daq.rig.load_path import at_ratio, load_path
from daq.rig.rig_file import read_rig, read_rig_text
from tui.cli import main
from tui.rig_page import rig_page

RIG_FILE = Path(simulators.__file__).parent / "rigs" / "ossel-brook-b4.toml"


def page(rig, ratio=None, unit="kN", width=80):
    what_if = load_path(at_ratio(rig, ratio)) if ratio is not None else None
    console = Console(file=io.StringIO(), width=width, no_color=True)
    for piece in rig_page(rig, load_path(rig), what_if, unit):
        console.print(piece)
    return console.file.getvalue()


@pytest.fixture(scope="module")
def rig():
    return read_rig(RIG_FILE)


def test_the_weakest_comes_first_and_is_named_in_words(rig):
    shown = page(rig)
    rows = [line for line in shown.split("\n") if "%" in line and ("█" in line or ">" in line)]
    assert "(weakest)" in rows[0]
    assert "6.54" in rows[0]
    assert rows[0].split("%")[0].endswith("95")
    assert "it stands" in shown
    assert max(map(len, shown.split("\n"))) <= 80


def test_what_if_stands_beside_today(rig):
    shown = page(rig, ratio=3.0)
    row = next(line for line in shown.split("\n") if "beam splitting" in line)
    assert row.split()[5:7] == ["8.04", "6.03"]
    assert "IS TOO HIGH" in shown
    assert "At 3:1 the weakest known part is beam splitting" in shown


def test_energy_unknowns_and_deference_are_said(rig):
    text = rig.text.replace('limit = "8.2 kN"', 'limit = "unknown"')
    shown = " ".join(page(read_rig_text(text, "x")).split())
    assert "like a 1 kg hammer" in shown
    assert "Unknown, so not counted and not safe to forget: hook bolt" in shown
    assert "Local codes" in shown
    assert "licensed" in shown
    assert "is a notice" in shown


def test_forces_in_the_unit_of_choice(rig):
    shown = page(rig, unit="kgf")
    assert "666.7" in shown
    assert "632.2 kgf" in shown  # the stop of 6.2 kN


def test_names_are_text_and_never_markup(rig):
    text = rig.text.replace('"hook bolt"', '"[red]hook[/red] bolt"')
    assert "[red]hook[/red]" in page(read_rig_text(text, "x"))


def test_json_follows_the_contract(capsys):
    assert main(["rig", "check", str(RIG_FILE), "--ratio", "3:1", "--json"]) == 0
    captured = capsys.readouterr()
    document = json.loads(captured.out)
    assert captured.err == ""
    keys = {
        "parts", "weakest", "stop_n", "stop_allowed_n", "stop_ok", "ratio", "u_ratio_rel",
        "stored_energy_j", "unknown",
    }  # fmt: skip
    assert keys <= set(document)
    assert keys <= set(document["what_if"])
    part_keys = {"name", "acts_at", "limit_n", "limit_at_specimen_n", "source"}
    assert all(part_keys <= set(part) for part in document["parts"])
    assert document["ratio"] == pytest.approx(2.0)
    assert document["what_if"]["ratio"] == pytest.approx(3.0)
    assert document["what_if"]["weakest"] == "beam splitting at the hole"


def test_a_stop_too_high_exits_2_with_part_and_reason_and_still_prints(tmp_path, capsys):
    high = tmp_path / "high.toml"
    high.write_text(RIG_FILE.read_text().replace('stop = "6.2 kN"', 'stop = "6.4 kN"'))
    assert main(["rig", "check", str(high), "--json"]) == 2
    captured = capsys.readouterr()
    assert json.loads(captured.out)["stop_ok"] is False
    assert f"{high}:" in captured.err
    assert "cell left" in captured.err
    assert "60/40" in captured.err


@pytest.mark.parametrize("ratio", ["0", "-1", "nan", "0.5"])
def test_an_impossible_ratio_exits_2(ratio, capsys):
    assert main(["rig", "check", str(RIG_FILE), f"--ratio={ratio}"]) == 2
    assert "is not possible" in capsys.readouterr().err


def test_a_bad_rig_file_exits_2_without_a_traceback(tmp_path, capsys):
    bad = tmp_path / "bad.toml"
    bad.write_text('[rig]\nname = "x"\nbuild = 4\n[lever]\njack_arm = 402\n')
    assert main(["rig", "check", str(bad), "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert f"{bad}:5: lever.jack_arm" in captured.err
    assert "Traceback" not in captured.err
