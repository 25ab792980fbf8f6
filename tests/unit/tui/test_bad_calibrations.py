"""Calibrations that cannot be, each refused by the command with file and place, nothing written."""

import pytest

from tui import cli
from tui.commands.demo import demo_rig_file

TWO_CELLS = """\
mass_kg,response_left,response_right,series
0,1,1,1
5,100000,8000,1
10,200000,16000,1
0,1,1,2
5,8000,100000,2
10,16000,200000,2
"""


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(demo_rig_file().read_text("utf-8"), "utf-8")
    return path


def replaced(path, old, new):
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("load,response\n0,1\n5,2\n10,3\n", "w.csv:1: load: has no unit"),
        ("mass_kg,response\n0,1\n20,9\n20,9.5\n", "w.csv:4: mass_kg: one weight only"),
        ("mass_kg,response\n20,1\n20,9\n20,9.5\n", "w.csv:4: mass_kg: all loads are equal"),
        (
            "mass_kg,response,direction\n0,1,up\n5,9,up\n10,18,up\n7,12,down\n0,1,down\n",
            "w.csv:5: mass_kg: 7 kg comes down but never went up",
        ),
        ("mass_kg,response\n0,1\n5,9000000\n10,2\n", "w.csv:3: response: 9000000 is outside"),
        (
            "mass_kg,response\n1210,0\n105000,5\n210000,10\n420000,20\n210050,10\n105020,5\n",
            "w.csv:2: mass_kg: load and response look swapped",
        ),
    ],
)
def test_points_that_make_none_leave_no_file(tmp_path, capsys, text, said):
    points, out = tmp_path / "w.csv", tmp_path / "cal.json"
    points.write_text(text)
    assert cli.main(["calibrate", "--points", str(points), "-o", str(out)]) == 2
    assert said in capsys.readouterr().err
    assert not out.exists()
    assert points.read_text() == text


def test_a_calibration_of_another_build_serves_no_pull(tmp_path, rig, capsys):
    points = tmp_path / "w.csv"
    points.write_text(TWO_CELLS)
    command = ["calibrate", "--points", str(points), "--rig", str(rig)]
    assert cli.main([*command, "-o", str(tmp_path / "cal.json")]) == 0
    replaced(rig, 'build = "4"', 'build = "5"\ncalibration = "cal.json"')
    pull = ["pull", "--rig", str(rig), "--port", "/dev/none", "--headless"]
    assert cli.main([*pull, "--out", str(tmp_path / "pulls")]) == 2
    err = capsys.readouterr().err
    assert 'was made on build "4", this rig is build "5"' in err
    assert "rig.toml" in err


def test_an_arm_longer_than_the_beam_is_refused(rig, capsys):
    replaced(rig, 'jack_arm = "402 mm"', 'jack_arm = "4020 mm"')
    replaced(rig, "[beam]\n", '[beam]\nlength = "900 mm"\n')
    assert cli.main(["rig", "check", str(rig)]) == 2
    assert "lever.jack_arm: jack_arm reaches 4020 mm, but the beam is 900 mm" in (
        capsys.readouterr().err
    )


def test_the_live_form_writes_over_no_calibration(tmp_path, rig, capsys):
    out = tmp_path / "cal.json"
    out.write_text("mine")
    live = ["calibrate", "--rig", str(rig), "--masses", "5 kg, 10 kg", "--port", "/dev/none"]
    assert cli.main([*live, "-o", str(out)]) == 2
    assert "never replaced" in capsys.readouterr().err
    assert out.read_text() == "mine"
