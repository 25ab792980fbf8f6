"""Another stop: taken with comments kept, refused with the part that cannot carry it."""

from dataclasses import replace

import pytest

from daq.faults import InputFault
from daq.rig.rig_file import read_rig
from tui.commands.demo import demo_rig_file
from tui.rig_change import with_calibration, with_stop, write_rig


@pytest.fixture
def rig(tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(demo_rig_file().read_text("utf-8"), "utf-8")
    return read_rig(path)


def test_a_lower_stop_is_written_and_every_comment_stays(rig):
    before = rig.path.read_text("utf-8")
    changed = with_stop(rig, "5.5 kN")
    assert changed.stop.stop_n == 5500.0
    assert changed.stop.warn_n == rig.stop.warn_n
    write_rig(changed, rig)
    assert rig.path.read_text("utf-8") == before.replace('stop = "6.2 kN"', 'stop = "5.5 kN"')
    assert read_rig(rig.path).stop == changed.stop


def test_a_warning_above_the_new_stop_comes_down_with_it(rig):
    changed = with_stop(rig, "3 kN")
    assert changed.stop.stop_n == 3000.0
    assert changed.stop.warn_n == pytest.approx(3000.0 * 5200.0 / 6200.0, rel=0.01)


def test_a_stop_above_the_allowed_one_is_refused_with_part_and_reason(rig):
    with pytest.raises(InputFault) as refused:
        with_stop(rig, "9.5 kN")
    words = str(refused.value)
    assert "is above the" in words
    assert "weakest part" in words
    assert "stop.stop" in words
    assert "rig.toml:" in words


@pytest.mark.parametrize("typed", ["5500", "tall", "", "5.5 kg", "-1 kN"])
def test_what_is_no_force_is_refused(rig, typed):
    with pytest.raises(InputFault):
        with_stop(rig, typed)


def test_a_file_changed_meanwhile_is_left_alone(rig):
    changed = with_stop(rig, "5.5 kN")
    mine = rig.path.read_text("utf-8") + "# mine\n"
    rig.path.write_text(mine, "utf-8")
    with pytest.raises(InputFault, match="changed meanwhile"):
        write_rig(changed, rig)
    assert rig.path.read_text("utf-8") == mine


def test_a_calibration_is_named_as_seen_from_the_rig_file(rig, tmp_path):
    file = tmp_path / "cal" / "today.calibration.json"
    text = with_calibration(rig, file).text
    assert 'calibration = "cal/today.calibration.json"' in text
    assert text.replace('calibration = "cal/today.calibration.json"\n', "") == rig.text


def test_a_rig_from_no_file_names_no_calibration(rig, tmp_path):
    with pytest.raises(InputFault, match="no file"):
        with_calibration(replace(rig, path=None), tmp_path / "a.json")
