"""pullstand calibrate: one JSON document, exit codes, nothing overwritten."""

import json
import re

import pytest

from daq.force.calibration_text import read_calibration
from tui import cli
from tui.commands.demo import demo_rig_file

POINTS = """\
mass_kg,response,direction,series,void
0,1210,up,1,
10,-208600,up,1,
20,-418500,up,1,
40,-838100,up,1,
40,-900000,up,1,leaned on the rig
20,-418900,down,1,
0,1190,down,1,
"""


@pytest.fixture
def points(tmp_path):
    file = tmp_path / "weights.csv"
    file.write_text(POINTS)
    return file


def test_json_is_one_document_with_the_promised_keys(points, capsys):
    code = cli.main(
        ["calibrate", "--points", str(points), "--invert", "-1000", "-200000", "--json"]
    )
    out, err = capsys.readouterr()
    document = json.loads(out)
    assert code == 0
    assert {
        "degree", "coefficients", "standard_errors", "residual_sd", "r_squared", "llf",
        "class_a_from", "invert", "zero_return", "hysteresis", "repeatability", "verified_to",
        "statement",
    } <= document.keys()  # fmt: skip
    assert document["degree"] == 1
    assert [each["response"] for each in document["invert"]] == [-1000.0, -2e5]
    first = document["invert"][1]
    assert first["low"] < first["load"] < first["high"]
    assert document["coefficients"][1] < 0.0
    assert "within 5 %" in err
    assert "stores the sign -1" in err


def test_a_calibration_file_is_written_once(points, tmp_path, capsys):
    file = tmp_path / "cal.json"
    command = ["calibrate", "--points", str(points), "--weights", "M3", "-o", str(file)]
    place = ["--latitude", "52.3", "--date", "2031-05-04", "--expires", "2032-05-04"]
    assert cli.main([*command, *place]) == 0
    made = read_calibration(file)
    assert (made.signs, made.made_on, made.expires_on) == ((-1,), "2031-05-04", "2032-05-04")
    before = file.read_bytes()
    assert cli.main(command) == 2
    assert "never replaced" in capsys.readouterr().err
    assert file.read_bytes() == before


def test_a_person_is_asked_once_about_a_reversed_sign(points, tmp_path, capsys, monkeypatch):
    file = tmp_path / "cal.json"
    asked = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda words: asked.append(words) or "n")
    assert cli.main(["calibrate", "--points", str(points), "-o", str(file)]) == 2
    assert len(asked) == 1
    assert "nothing written" in capsys.readouterr().err
    assert not file.exists()
    monkeypatch.setattr("builtins.input", lambda words: "y")
    assert cli.main(["calibrate", "--points", str(points), "-o", str(file)]) == 0


def test_the_table_shows_every_point_the_voided_one_with_its_reason(points, capsys):
    assert cli.main(["calibrate", "--points", str(points)]) == 0
    out = capsys.readouterr().out
    assert "void: leaned on the rig" in out
    assert "hysteresis, between up and down: 0.0953 % of the load" in out
    assert re.search(r"b1 slope, +-2140\.17\d+ counts/N, standard error \d", out)
    assert "response / load" not in out
    assert "claims no class" in " ".join(out.split())


@pytest.mark.parametrize("columns", [60, 80, 132])
@pytest.mark.parametrize("cells", [1, 2, 4])
def test_no_row_is_wider_than_the_window_and_no_word_is_cut(
    tmp_path, capsys, monkeypatch, columns, cells
):
    names = [f"response_c{n}" for n in range(cells)] if cells > 1 else ["response"]
    rows = [",".join(["mass_kg", *names, "series", "void"])]
    for over in range(cells):
        for kg, void in ((0, ""), (10, ""), (20, "leaned on the rig"), (20, "")):
            counts = [str(1000 + (209860 * kg if n == over else 0)) for n in range(cells)]
            rows.append(",".join([str(kg), *counts, str(over + 1), void]))
    file = tmp_path / "weights.csv"
    file.write_text("\n".join(rows) + "\n")
    outs = {}
    for width in (columns, 5000):
        monkeypatch.setenv("COLUMNS", str(width))
        assert cli.main(["calibrate", "--points", str(file)]) == 0
        outs[width] = capsys.readouterr().out
    assert all(len(row) <= columns for row in outs[columns].splitlines())
    told = outs[columns].partition("What was fitted")[2]
    assert told.split() == outs[5000].partition("What was fitted")[2].split()


def test_the_place_is_taken_from_the_rig_file(points, tmp_path, capsys):
    """At 52.3 degrees and 80 m: 9.812484 m/s2 (WELMEC formula); air of 1.2 kg/m3, OIML D 28."""
    rig = tmp_path / "rig.toml"
    text = demo_rig_file().read_text("utf-8")
    text = text.replace("[rig]\n", '[rig]\nlatitude = "52.3 deg"\nheight = "80 m"\n')
    rig.write_text(text, "utf-8")
    command = ["calibrate", "--points", str(points), "--weights", "M2", "--json"]
    assert cli.main([*command, "--latitude", "52.3", "--height", "80"]) == 0
    given = json.loads(capsys.readouterr().out)
    assert cli.main([*command, "--rig", str(rig)]) == 0
    of_the_rig = json.loads(capsys.readouterr().out)
    assert of_the_rig["weights"] == given["weights"]
    assert "latitude 52.3 deg, 80 m above the sea" in given["weights"]
    force_n = 40.0 * 9.812484 * (1.0 - 1.2 / 8000.0)
    assert of_the_rig["verified_to"] == pytest.approx(force_n, rel=2e-6)
    assert cli.main([*command, "--rig", str(rig), "--latitude", "0"]) == 0
    elsewhere = json.loads(capsys.readouterr().out)
    assert elsewhere["verified_to"] < 0.997 * given["verified_to"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--weights", "good"], "--weights"),
        (["--latitude", "95"], "--latitude"),
        (["--height", "99999"], "--height"),
        (["--date", "4.5.2031"], "--date"),
        (["--degree", "9"], "degree 9"),
    ],
)
def test_options_that_cannot_be_are_refused(points, capsys, options, words):
    assert cli.main(["calibrate", "--points", str(points), *options]) == 2
    assert words in capsys.readouterr().err


def test_a_bad_file_is_named_with_line_and_column(tmp_path, capsys):
    file = tmp_path / "bad.csv"
    file.write_text("mass_kg,response\n0,1\nten,2\n")
    assert cli.main(["calibrate", "--points", str(file)]) == 2
    assert "bad.csv:3: mass_kg" in capsys.readouterr().err
