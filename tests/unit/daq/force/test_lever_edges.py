"""What is left to say of the lever and the chain: bounds, either tilt, a weight that turns."""

import math

import numpy as np
import pytest

from daq.force.calibration import Calibration
from daq.force.curve import Curve
from daq.force.force_chain import ForceChain
from daq.force.lever import (
    beam_weight_residual_n,
    contact_effect_rel,
    limit_at_specimen_n,
    tilt_effect_rel,
)
from daq.force.zero import Zero
from daq.rig.rig import Lever


@pytest.mark.parametrize(("contact", "wander_mm"), [("pin", 0.0), ("rounded", 1.0), ("flat", 5.0)])
def test_how_far_a_contact_wanders(contact, wander_mm):
    """Common practice, no source; over the shorter arm."""
    lever = Lever("end", 400.0, 200.0, contact=contact)
    assert contact_effect_rel(lever) == pytest.approx(wander_mm / 200.0)


def test_a_limit_of_a_cell_is_of_the_whole_jack_force_unless_a_share_is_said():
    """Moments: 100 N at the jack are 200 N at the specimen of a 2:1 lever."""
    lever = Lever("end", 400.0, 200.0)
    assert limit_at_specimen_n(100.0, "cell", lever) == pytest.approx(200.0)
    assert limit_at_specimen_n(100.0, "cell", lever, 0.5) == pytest.approx(400.0)


def test_a_fulcrum_that_bears_nothing_limits_nothing():
    """Hook and jack on one line: ratio 1, no force at the fulcrum (or lifted, below)."""
    assert limit_at_specimen_n(100.0, "fulcrum", Lever("end", 300.0, 300.0)) == math.inf
    assert limit_at_specimen_n(100.0, "fulcrum", Lever("end", 200.0, 300.0)) == math.inf


def test_the_larger_of_both_tilts_counts():
    """Both pins above the line, fulcrum between: 3 degrees down and up differ, by the moments.

    About the fulcrum a force upright has the arm b cos t - h sin t at the jack and
    a cos t + h sin t at the specimen.
    """
    lever = Lever(
        "between", 400.0, 200.0, jack_pin_offset_mm=30.0, specimen_pin_offset_mm=30.0,
        max_tilt_deg=3.0,
    )  # fmt: skip

    def ratio(degrees):
        t = math.radians(degrees)
        jack = 400.0 * math.cos(t) - 30.0 * math.sin(t)
        return jack / (200.0 * math.cos(t) + 30.0 * math.sin(t))

    effects = [abs(ratio(degrees) / 2.0 - 1.0) for degrees in (3.0, -3.0)]
    assert effects[0] != pytest.approx(effects[1], rel=1e-3)
    assert tilt_effect_rel(lever) == pytest.approx(max(effects))


@pytest.mark.parametrize(("tilt", "zeroed"), [(3.0, 0.0), (-2.0, 1.0), (5.0, 5.0)])
def test_a_beam_weight_that_was_zeroed_at_another_tilt(tilt, zeroed):
    """By the moments: the weight's arm now less its arm at the zero, over the hook's arm now."""
    t, t0 = math.radians(tilt), math.radians(zeroed)
    arm = 300.0 * math.cos(t) - 50.0 * math.sin(t)
    arm_then = 300.0 * math.cos(t0) - 50.0 * math.sin(t0)
    left_n = 100.0 * (arm - arm_then) / (200.0 * math.cos(t))
    lever = Lever("end", 400.0, 200.0)
    found = beam_weight_residual_n(100.0, 300.0, 50.0, lever, tilt, zeroed)
    assert found == pytest.approx(left_n, rel=1e-9, abs=1e-12)


def test_what_a_later_zero_reads_by_this_one_and_the_way_of_one_sample():
    calibration = Calibration(
        "cells", ("left", "right"), (1, 1), (Curve((0.0, 100.0)),), 0.0, 400.0
    )
    spread = ((0.0, 0.0), (0.0, 0.0), 100)
    chain = ForceChain(calibration, Zero((1000.0, -2000.0), *spread), Lever("end", 400.0, 200.0))
    assert chain.zero_shift_n(Zero((1100.0, -1900.0), *spread)) == pytest.approx(4.0)
    words = chain.words(np.array([11_000, -1_000], np.int32))
    assert words == (
        "left 11000 + right -1000 counts -> 110 N at the cells x 2.000 = 220 N at the specimen"
    )
