"""The rig file that ships: read twice, apart, and the same both times."""

import pytest

from daq.rig.rig_file import read_rig
from simulators.scenario import ScenarioError
from simulators.simulated_rig import DEMO_RIG_FILE, load_simulated_rig


def test_simulator_and_console_read_the_same_rig():
    ours, theirs = load_simulated_rig(), read_rig(DEMO_RIG_FILE)
    assert ours.ratio == theirs.lever.ratio == 2.0
    assert ours.lead_mm == theirs.jack.lead_mm
    assert ours.stop_n == theirs.stop.stop_n == 6200.0
    assert ours.cells == tuple(cell.field for cell in theirs.cells)
    assert ours.counts_per_newton == tuple(cell.counts_per_newton for cell in theirs.cells)
    assert ours.wire_fields == theirs.link.fields == ("time_us", "left", "right")
    assert (ours.separator, ours.checksum) == (theirs.link.separator, theirs.link.checksum)


def test_slopes_are_those_of_the_invented_cells():
    """2 mV/V at 200 kgf over +/-20 mV in 24 bits at 5 V: 2^22 counts in 1961.33 N, about 2139."""
    usual = 2**22 / (200 * 9.80665)
    assert load_simulated_rig().counts_per_newton == pytest.approx([usual, usual], rel=0.003)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"402 mm"', '"402"', "not a number with a unit"),
        ('"402 mm"', '"402 furlong"', "not a number with a unit"),
        ('lead = "4 mm"', "", "lead is missing"),
        ('"left", "right"]', '"left", "rihgt"]', "rihgt is the field of no cell"),
        ("[lever]", "[lever", "is not TOML"),
    ],
)
def test_a_rig_that_cannot_be_simulated_is_told(tmp_path, old, new, words):
    text = DEMO_RIG_FILE.read_text("utf-8")
    assert old in text
    (tmp_path / "rig.toml").write_text(text.replace(old, new), "utf-8")
    with pytest.raises(ScenarioError, match=words):
        load_simulated_rig(tmp_path / "rig.toml")


def test_a_missing_rig_file_is_told(tmp_path):
    with pytest.raises(ScenarioError, match="cannot be read"):
        load_simulated_rig(tmp_path / "none.toml")
