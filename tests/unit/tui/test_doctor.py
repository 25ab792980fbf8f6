"""The doctor says how old a calibration is, and when it has run out."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from daq.force.calibration import KNOWN_WEIGHTS, Calibration
from daq.force.calibration_text import write_calibration
from daq.rig.rig_file import read_rig
from simulators.serving import BoardOrder, serve
from tui.cli import main
from tui.commands.demo import demo_rig_file


def finding(capsys, rig, folder):
    """What the doctor found about the calibration, None where it could not look."""
    main(["doctor", "--rig", str(rig), "--out", str(folder), "--json"])
    found = json.loads(capsys.readouterr().out)["findings"]
    return next((each for each in found if each["what"] == "calibration"), None)


def rig_with(folder, **changes):
    """A rig file beside a calibration that has been changed so."""
    rig = read_rig(demo_rig_file())
    held = replace(Calibration.from_rig(rig), basis=KNOWN_WEIGHTS, **changes)
    write_calibration(held, folder / "cal.json")
    text = rig.text.replace("[rig]\n", '[rig]\ncalibration = "cal.json"\n')
    (folder / "rig.toml").write_text(text, "utf-8")
    return folder / "rig.toml"


@pytest.mark.parametrize(("left", "well"), [(1, True), (0, True), (-1, False)])
def test_a_calibration_has_an_age_and_a_last_day(capsys, tmp_path, left, well):
    made = (date.today() - timedelta(days=40)).isoformat()
    last = (date.today() + timedelta(days=left)).isoformat()
    found = finding(capsys, rig_with(tmp_path, made_on=made, expires_on=last), tmp_path)
    assert found["well"] is well
    assert f"40 days old (made on {made})" in found["seen"]
    assert ("EXPIRED" in found["seen"]) is not well


def test_slopes_that_were_typed_are_called_so(capsys, tmp_path):
    assert "not verified by weights" in finding(capsys, demo_rig_file(), tmp_path)["seen"]


def test_a_rig_file_that_is_none_is_told_once(capsys, tmp_path):
    (tmp_path / "rig.toml").write_text("nonsense", "utf-8")
    assert finding(capsys, tmp_path / "rig.toml", tmp_path) is None


def board_finding(capsys, folder, port, changes=()):
    """What the doctor found about the board on the port that the rig file names."""
    text = demo_rig_file().read_text("utf-8").replace("[link]\n", f'[link]\nport = "{port}"\n')
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "rig.toml").write_text(text, "utf-8")
    code = main(["doctor", "--rig", str(folder / "rig.toml"), "--out", str(folder), "--json"])
    found = json.loads(capsys.readouterr().out)["findings"]
    return code, next(each for each in found if each["what"] == "board")


def test_the_port_of_the_rig_file_is_tried(capsys, tmp_path):
    with serve(BoardOrder("split", speed=4.0)) as board:
        _, found = board_finding(capsys, tmp_path, board.port)
    assert found["well"]
    assert f"{board.port}: " in found["seen"]
    assert int(found["seen"].split()[1]) >= 20


def test_a_port_that_is_not_there_is_told(capsys, tmp_path):
    code, found = board_finding(capsys, tmp_path, "/dev/nowhere")
    assert code == 2
    assert not found["well"]
    assert "/dev/nowhere" in found["seen"]


def test_lines_that_cannot_be_read_are_shown(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("tui.commands.doctor.LISTEN_S", 1.0)
    fewer = [('fields = ["time_us", "left", "right"]', 'fields = ["left", "right"]')]
    with serve(BoardOrder("split", speed=4.0)) as board:
        _, found = board_finding(capsys, tmp_path, board.port, fewer)
    assert not found["well"]
    assert "lines not readable, such as" in found["seen"]
    assert "`fields`" in found["do"]


def test_a_rig_file_without_a_port_is_no_fault(capsys, tmp_path):
    main(["doctor", "--rig", str(demo_rig_file()), "--out", str(tmp_path), "--json"])
    found = json.loads(capsys.readouterr().out)["findings"]
    (board,) = (each for each in found if each["what"] == "board")
    assert board["well"]
    assert "names no port" in board["seen"]
