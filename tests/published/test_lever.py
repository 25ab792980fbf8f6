"""Lever mechanics: worked examples and facts of the trade, each with its origin beside it."""

from dataclasses import replace

import numpy as np
import pytest

from daq import units
from daq.force import lever as mechanics
from daq.rig.rig import Lever

SHOP = Lever("end", jack_arm_mm=402.0, specimen_arm_mm=201.0)
SHORT = Lever(
    "between", jack_arm_mm=600.0, specimen_arm_mm=60.0,
    jack_pin_offset_mm=5.0, specimen_pin_offset_mm=2.0,
)  # fmt: skip


@pytest.mark.parametrize(
    ("specimen_arm_mm", "specimen_kgf"),
    [(201.0, 700.0), (134.0, 1050.0)],
)
def test_350_kgf_at_the_jack(specimen_arm_mm, specimen_kgf):
    """2:1 makes 350 kgf 700, 3:1 makes it 1050 kgf (common practice, no source)."""
    lever = replace(SHOP, specimen_arm_mm=specimen_arm_mm)
    force_n = mechanics.specimen_force_n(units.parse_force_n("350 kgf"), lever, "cells")
    assert units.force_in(force_n, "kgf") == pytest.approx(specimen_kgf, rel=1e-12)


def test_a_calibration_at_the_specimen_contains_the_ratio():
    """Applied once, never twice (common practice, no source)."""
    counts_as_newtons = np.array([1.0, 2.0, 3.0])
    same = mechanics.specimen_force_n(counts_as_newtons, SHOP, "specimen")
    np.testing.assert_array_equal(same, counts_as_newtons)
    twice = mechanics.specimen_force_n(counts_as_newtons, SHOP, "cells")
    np.testing.assert_array_equal(twice, [2.0, 4.0, 6.0])


@pytest.mark.parametrize(
    ("fulcrum", "tilt_deg", "percent"),
    [
        # Worked example, computed by moment balance: arms 60 and 600, pins 2 and 5 mm off the line.
        ("between", 1.0, -0.0727), ("between", 2.0, -0.1453), ("between", 5.0, -0.3635),
        ("end", 1.0, +0.0437), ("end", 2.0, +0.0874), ("end", 5.0, +0.2194),
    ],
)  # fmt: skip
def test_tilt_with_pins_off_the_line(fulcrum, tilt_deg, percent):
    lever = replace(SHORT, fulcrum=fulcrum)
    change = mechanics.ratio_at_tilt(lever, tilt_deg) / lever.ratio - 1.0
    assert 100.0 * change == pytest.approx(percent, abs=6e-5)


def test_hook_pin_20_mm_off_the_line():
    """Worked example, first order e/a tan t: 20 mm on 201 mm is 0.35 % at 2 deg, 1.05 % at 6."""
    lever = replace(SHOP, specimen_pin_offset_mm=20.0)
    for tilt_deg, percent in ((2.0, 0.35), (6.0, 1.05)):
        effect = mechanics.tilt_effect_rel(replace(lever, max_tilt_deg=tilt_deg))
        assert 100.0 * effect == pytest.approx(percent, rel=0.015)


@pytest.mark.parametrize(
    ("fulcrum", "radius_mm", "mu", "percent"),
    [
        # Worked examples, computed: arms 60 and 600; friction values from memory.
        ("between", 4.0, 0.15, 2.20), ("end", 4.0, 0.15, 2.00), ("between", 2.0, 0.15, 1.10),
        ("between", 0.2, 0.15, 0.11), ("between", 10.0, 0.002, 0.073),
    ],
)  # fmt: skip
def test_pin_friction(fulcrum, radius_mm, mu, percent):
    lever = replace(SHORT, fulcrum=fulcrum, pin_radius_mm=radius_mm, pin_friction=mu)
    assert 100.0 * mechanics.friction_loss_rel(lever) == pytest.approx(percent, abs=0.0051)


def test_pin_friction_of_the_shop_lever():
    """Worked example, computed by mu r (F_j + F_s + F_f) / (F_j a_j): 1.2 % for 12 mm pins."""
    lever = replace(SHOP, pin_radius_mm=6.0, pin_friction=0.2)
    assert 100.0 * mechanics.friction_loss_rel(lever) == pytest.approx(1.2, abs=0.05)


@pytest.mark.parametrize(("specimen_arm_mm", "percent"), [(201.0, 0.56), (134.0, 0.79)])
def test_a_millimetre_on_the_tape(specimen_arm_mm, percent):
    """Worked example, computed: 1 mm on 402/201 is 0.56 %, on 402/134 0.79 %."""
    lever = replace(SHOP, specimen_arm_mm=specimen_arm_mm, arm_uncertainty_mm=1.0)
    assert 100.0 * mechanics.arms_u_rel(lever) == pytest.approx(percent, abs=0.005)
    assert mechanics.ratio_u_rel(lever) == mechanics.arms_u_rel(lever)


def test_a_flat_contact_wanders():
    """Worked example, computed: 5 mm on a 201 mm arm is 2.5 %."""
    lever = replace(SHOP, contact="flat", arm_uncertainty_mm=0.0)
    assert 100.0 * mechanics.contact_effect_rel(lever) == pytest.approx(2.5, abs=0.02)
    # A rectangular bound is divided by sqrt 3 (GUM, JCGM 100:2008, 4.3.7).
    assert 100.0 * mechanics.ratio_u_rel(lever) == pytest.approx(2.4876 / 3**0.5, rel=1e-4)


@pytest.mark.parametrize(
    ("fulcrum", "at_two", "at_three"), [("end", 1.0, 2.0), ("between", 3.0, 4.0)]
)
def test_force_at_the_fulcrum(fulcrum, at_two, at_three):
    """From 2:1 to 3:1 the fulcrum force goes 1 -> 2 or 3 -> 4 times the jack (computed)."""
    two = replace(SHOP, fulcrum=fulcrum)
    three = replace(two, specimen_arm_mm=134.0)
    assert mechanics.fulcrum_per_jack(two) == pytest.approx(at_two)
    assert mechanics.fulcrum_per_jack(three) == pytest.approx(at_three)
    assert mechanics.limit_at_specimen_n(1000.0, "fulcrum", three) == pytest.approx(3000 / at_three)


def test_a_pair_of_cells_is_judged_by_its_heavier_share():
    """200 kgf cells at 60/40: 333 kgf = 3.27 kN at the jack, 6.54 kN at 2:1 (computed)."""
    capacity_n = units.parse_force_n("200 kgf")
    at_jack_n = mechanics.limit_at_specimen_n(capacity_n, "cell", SHOP, share=0.6) / SHOP.ratio
    assert units.force_in(at_jack_n, "kgf") == pytest.approx(333.3, abs=0.1)
    assert at_jack_n == pytest.approx(3270.0, abs=5.0)
    at_specimen_n = mechanics.limit_at_specimen_n(capacity_n, "cell", SHOP, share=0.6)
    assert at_specimen_n == pytest.approx(6540.0, abs=5.0)


def test_beam_weight_is_gone_at_the_tilt_of_the_zero():
    """Moment balance: nothing left at the same tilt; level again, W x (1 - cos t0) / a is left."""
    weigh = (30.0, 230.0, 10.0, SHOP)
    assert mechanics.beam_weight_residual_n(*weigh, 3.0, 3.0) == 0.0
    left = mechanics.beam_weight_residual_n(30.0, 230.0, 0.0, SHOP, 0.0, 3.0)
    assert left == pytest.approx(30.0 * 230.0 * 0.0013704652 / 201.0, rel=1e-6)
    # With the mass above the line, lifting the jack end moves it back over the fulcrum.
    assert mechanics.beam_weight_residual_n(30.0, 230.0, 10.0, SHOP, 3.0, 0.0) < 0.0
