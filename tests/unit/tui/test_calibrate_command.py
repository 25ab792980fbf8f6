"""pullstand calibrate: one JSON document, exit codes, nothing overwritten."""

import json

import pytest

from daq.force.calibration_text import read_calibration
from tui import cli

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
    assert "hysteresis     0.095" in out
    assert "claims no class" in " ".join(out.split())


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
