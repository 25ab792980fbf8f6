"""Masses corrected afterwards, against the same readings fitted anew with the right masses."""

from dataclasses import replace

import numpy as np
import pytest

from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.mass_correction import with_masses
from daq.force.points_file import parse_points
from daq.force.weights import local_gravity, weights_known
from daq.rig.rig_file import read_rig
from tui.commands.demo import demo_rig_file

FACTOR = 1.036
GRAVITY = local_gravity(52.0)


def fitted(factor: float, degree: int | None, cells: bool) -> Calibration:
    """A calibration from made-up readings: a slightly bent response, or two cells."""
    rng = np.random.default_rng(3)
    rows = ["mass_kg,response_left,response_right" if cells else "mass_kg,response"]
    for number, mass in enumerate([0, 5, 10, 20, 30, 40, 30, 20, 10, 5, 0]):
        left = 0.85 if number % 2 else 0.2
        noise = rng.normal(0, 15, 2)
        response = 21000 * mass * (1 + 1e-3 * mass) + noise[0]
        parts = (21000 * mass * left + noise[0], 20900 * mass * (1 - left) + noise[1])
        answer = f"{parts[0]:.0f},{parts[1]:.0f}" if cells else f"{response:.0f}"
        rows.append(f"{mass * factor!r},{answer}")
    table = parse_points("\n".join(rows), "weights.csv", GRAVITY)
    session = Session(weights_known("0.1 %"), GRAVITY, degree=degree, made_on="2026-03-13")
    return fit_calibration(table, session).calibration


@pytest.mark.parametrize(("degree", "cells"), [(1, False), (2, False), (None, True)])
def test_it_is_the_fit_of_the_right_masses(degree, cells):
    scaled = with_masses(fitted(1.0, degree, cells), FACTOR, "weighed")
    anew = fitted(FACTOR, degree, cells)
    for ours, theirs in zip(scaled.curves, anew.curves, strict=True):
        assert ours.coefficients[1:] == pytest.approx(theirs.coefficients[1:], rel=1e-9)
        assert ours.up_to_n == pytest.approx(theirs.up_to_n)
    assert scaled.verified_from_n == pytest.approx(anew.verified_from_n)
    assert scaled.verified_to_n == pytest.approx(anew.verified_to_n)
    for load_n in (60.0, 390.0):
        assert scaled.quality.u_load_n(load_n) == pytest.approx(
            anew.quality.u_load_n(load_n), rel=1e-6
        )
    assert scaled.quality.residual_sd == pytest.approx(anew.quality.residual_sd, rel=1e-6)
    assert scaled.quality.llf_n == pytest.approx(anew.quality.llf_n, rel=1e-6)
    loads = [[point.load_n for point in each.points] for each in (scaled, anew)]
    assert loads[0] == pytest.approx(loads[1])


def test_forces_grow_by_the_factor_and_the_words_say_why():
    before = fitted(1.0, 1, True)
    after = with_masses(before, FACTOR, "the plates were weighed")
    counts = np.array([[300_000.0, 250_000.0]])
    assert after.cell_forces_n(counts) == pytest.approx(FACTOR * before.cell_forces_n(counts))
    assert "x1.036 since: the plates were weighed" in after.quality.weights
    assert "the plates were weighed" in after.statement
    assert after.fingerprint != before.fingerprint
    assert Calibration.from_json(after.to_json()).fingerprint == after.fingerprint


def test_no_weights_no_correction():
    rig = replace(read_rig(demo_rig_file()), calibration_file=None)
    with pytest.raises(InputFault, match="no mass to correct"):
        with_masses(Calibration.from_rig(rig), FACTOR, "weighed")


@pytest.mark.parametrize("factor", [0.0, -1.0, 3.6, float("nan")])
def test_an_absurd_factor_is_refused(factor):
    with pytest.raises(InputFault, match="is possible"):
        with_masses(fitted(1.0, 1, False), factor, "weighed")
