"""What a specimen holds as it slides."""

import numpy as np
import pytest

from simulators.scenario import load_scenario, scenario_names
from simulators.specimen import Specimen, draw_specimen


def a_specimen(**changes):
    usual = {
        "strength_n": 4000.0,
        "stiffness_n_per_mm": 5000.0,
        "toe_mm": 0.3,
        "yield_n": 3000.0,
        "hardening_mm": 0.4,
        "softening_mm": 0.5,
        "collapse_s": 0.03,
        "residual_n": 800.0,
        "tail_mm": 12.0,
        "tooth_share": 0.2,
        "tooth_mm": 1.5,
        "relaxation": 0.02,
        "relaxation_growth": 1.0,
        "cracks": (),
    }
    return Specimen(**(usual | changes))


def test_it_yields_hardens_to_its_strength_and_falls_to_the_tail():
    specimen = a_specimen(tooth_share=0.0)
    assert specimen.holds(0.0)[0] == pytest.approx(3000.0)
    assert specimen.holds(0.4)[0] == pytest.approx(4000.0)
    assert specimen.holds(0.65)[0] == pytest.approx(2400.0)  # half way down
    assert specimen.holds(0.9)[0] == pytest.approx(800.0)
    assert specimen.holds(6.9)[0] == pytest.approx(400.0)  # half the thread is out
    assert specimen.holds(13.0) == (0.0, 0.0)


def test_the_strength_is_the_most_it_ever_holds():
    specimen = a_specimen()
    held = [specimen.holds(slid)[0] for slid in np.linspace(0.0, 14.0, 5000)]
    assert max(held) == pytest.approx(4000.0, rel=1e-4)
    assert min(held) >= 0.0


def test_the_teeth_come_at_the_pitch_of_the_thread():
    specimen = a_specimen(tail_mm=1e6)
    slid = np.arange(0.9, 10.0, 0.001)
    held = np.array([specimen.holds(at)[0] for at in slid])
    tops = slid[1:-1][(held[1:-1] > held[:-2]) & (held[1:-1] > held[2:])]
    assert np.diff(tops) == pytest.approx(1.5, abs=0.01)


def test_the_slope_is_the_derivative():
    specimen = a_specimen()
    step = 1e-6
    for slid in (0.1, 0.3, 0.5, 0.8, 2.3, 7.7):
        rise = specimen.holds(slid + step)[0] - specimen.holds(slid - step)[0]
        assert specimen.holds(slid)[1] == pytest.approx(rise / (2 * step), rel=1e-4, abs=1e-3)


@pytest.mark.parametrize("name", scenario_names())
def test_drawn_specimens_lie_in_their_ranges(name):
    ranges = load_scenario(name).specimen
    for seed in range(20):
        drawn = draw_specimen(ranges, np.random.default_rng(seed))
        assert ranges.strength_n.low <= drawn.strength_n <= ranges.strength_n.high
        assert max(drawn.residual_n, drawn.yield_n) < drawn.strength_n
        assert ranges.cracks.low <= len(drawn.cracks) <= ranges.cracks.high
        assert list(drawn.cracks) == sorted(drawn.cracks, key=lambda crack: crack.at_n)
        assert all(crack.at_n < drawn.strength_n for crack in drawn.cracks)
