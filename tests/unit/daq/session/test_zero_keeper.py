"""What counts as a load when a zero is taken: by each cell's capacity, where the weights hung."""

from dataclasses import replace

import numpy as np
import pytest

from daq.force.calibration import Calibration
from daq.force.curve import Curve
from daq.force.zero import NotQuiet, Zero
from daq.recent_past import RecentPast
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop
from daq.zero_keeper import ZeroKeeper

RIG = Rig(
    name="test rig",
    build="1",
    link=Link(fields=("left",)),
    cells=(Cell("left", "left", 2000.0),),
    lever=Lever("end", 400.0, 100.0),
    stop=Stop(6000.0, 5000.0),
    jack=Jack(4.0),
)
AT_CELLS = Calibration("cells", ("left",), (1,), (Curve((0.0, 1000.0)),))
AT_SPECIMEN = replace(AT_CELLS, load_at="specimen", curves=(Curve((0.0, 250.0)),))
QUIET = np.random.default_rng(3).normal(0.0, 5.0, (200, 1))


class Past(RecentPast):
    """Two quiet seconds at a level."""

    def __init__(self, level: float) -> None:
        super().__init__(1)
        self.level = level

    def counts(self, last_s):
        return np.rint(QUIET + self.level).astype(np.int32), np.linspace(0.0, last_s, len(QUIET))


@pytest.mark.parametrize("calibration", [AT_CELLS, AT_SPECIMEN], ids=["cells", "specimen"])
def test_the_same_counts_are_a_load_wherever_the_weights_hung(calibration):
    """2000 N at 1000 counts/N: 1 % of capacity is 20 000 counts, R = 4 or not."""
    keeper = ZeroKeeper(RIG, calibration, Zero((0.0,), (5.0,), (20.0,), 200), by_itself=False)
    keeper.take(Past(15_000.0), 0, 0, by_person=False)
    assert keeper.now.counts[0] == pytest.approx(15_000.0, abs=5.0)
    with pytest.raises(NotQuiet, match="looks like a load"):
        keeper.take(Past(40_000.0), 0, 0, by_person=False)
