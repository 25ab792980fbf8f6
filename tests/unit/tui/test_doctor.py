"""The doctor says how old a calibration is, and when it has run out."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from daq.force.calibration import KNOWN_WEIGHTS, Calibration
from daq.force.calibration_text import write_calibration
from daq.rig.rig_file import read_rig
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
