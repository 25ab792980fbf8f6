"""Laws of the lever that hold for any geometry."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.force import lever as mechanics
from daq.rig.rig import Lever

arms = st.floats(20.0, 2000.0)
layouts = st.sampled_from(["end", "between"])
tilts = st.floats(-30.0, 30.0)


@given(layouts, arms, arms, tilts)
def test_ratio_is_independent_of_tilt_with_pins_in_line(fulcrum, jack_arm, specimen_arm, tilt):
    lever = Lever(fulcrum, jack_arm, specimen_arm)
    assert mechanics.ratio_at_tilt(lever, tilt) == pytest.approx(lever.ratio, rel=1e-15)


@given(arms, arms, st.floats(-0.2, 0.2), tilts)
def test_end_fulcrum_ignores_tilt_when_both_pins_lie_on_one_ray(jack_arm, specimen_arm, ray, tilt):
    """h_a / a = h_b / b: the pins are in line with the fulcrum, only the axis was drawn askew."""
    lever = Lever(
        "end", jack_arm, specimen_arm,
        jack_pin_offset_mm=ray * jack_arm, specimen_pin_offset_mm=ray * specimen_arm,
    )  # fmt: skip
    assert mechanics.ratio_at_tilt(lever, tilt) == pytest.approx(lever.ratio, rel=1e-12)


@given(layouts, arms, arms, st.floats(-60.0, 60.0), st.floats(-60.0, 60.0), st.floats(-6.0, 6.0))
def test_ratio_agrees_with_a_moment_balance_of_vectors(fulcrum, b, a, h_b, h_a, tilt):
    """Cross products of turned pin positions with vertical forces, worked another way."""
    lever = Lever(fulcrum, b, a, jack_pin_offset_mm=h_b, specimen_pin_offset_mm=h_a)
    t = math.radians(tilt)
    turn = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
    jack_x = (turn @ [b, h_b])[0]
    hook_x = (turn @ [a if fulcrum == "end" else -a, h_a])[0]
    if min(abs(hook_x), abs(jack_x)) > 5.0:
        assert mechanics.ratio_at_tilt(lever, tilt) == pytest.approx(
            jack_x / hook_x * (1 if fulcrum == "end" else -1), rel=1e-9
        )


@given(layouts, arms, arms, st.floats(0.0, 1e6), st.floats(0.1, 10.0))
def test_force_is_linear_in_the_ratio(fulcrum, jack_arm, specimen_arm, force, factor):
    one = mechanics.specimen_force_n(force, Lever(fulcrum, jack_arm, specimen_arm), "cells")
    more = mechanics.specimen_force_n(
        force, Lever(fulcrum, factor * jack_arm, specimen_arm), "cells"
    )
    assert more == pytest.approx(factor * one, rel=1e-12)


@given(layouts, arms, arms, st.floats(1.0, 1e5))
def test_forces_on_the_beam_balance(fulcrum, jack_arm, specimen_arm, specimen_n):
    """Jack up, specimen down, fulcrum the rest: nothing left over."""
    lever = Lever(fulcrum, jack_arm, specimen_arm)
    jack_n = mechanics.jack_force_n(specimen_n, lever)
    fulcrum_n = mechanics.fulcrum_per_jack(lever) * jack_n
    rest = specimen_n - jack_n - fulcrum_n if fulcrum == "end" else specimen_n + jack_n - fulcrum_n
    assert rest == pytest.approx(0.0, abs=1e-9 * specimen_n * (1 + 1 / lever.ratio))
