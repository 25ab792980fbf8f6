"""Check weight, ratio check, plateau and zero shift: the small judgements of a day at the rig."""

import re
from dataclasses import replace

import numpy as np
import pytest

from daq.force.calibration import Calibration
from daq.force.check_weight import Check, pulls_in_doubt
from daq.force.curve import Curve
from daq.force.force_chain import ForceChain
from daq.force.ratio_check import check_ratio
from daq.force.steady import latest_plateau
from daq.force.zero import Zero
from daq.rig.rig import Lever

LEVER = Lever("end", 402.0, 201.0)


def good(at_s: float) -> Check:
    return Check(at_s, 196.1, 197.5)


def bad(at_s: float) -> Check:
    return Check(at_s, 196.1, 199.0)


def test_within_one_per_cent_is_good_and_the_limit_can_be_set():
    """+-1 %: common practice, no source."""
    assert good(0.0).passed
    assert not bad(0.0).passed
    assert not Check(0.0, 196.1, 193.0).passed
    assert replace(bad(0.0), tolerance=0.02).passed
    assert "+1.48 % (limit 1 %): FAILED" in bad(0.0).words


@pytest.mark.parametrize(
    ("checks", "doubtful"),
    [
        ([], ()),
        ([good(0.0)], ()),
        ([good(0.0), good(100.0)], ()),
        ([good(0.0), bad(100.0)], (0, 1, 2)),
        ([good(0.0), good(25.0), bad(100.0)], (2,)),
        ([bad(100.0), good(25.0), good(0.0)], (2,)),
        ([bad(0.0)], (0, 1, 2)),
        ([bad(15.0), good(25.0)], (0, 1)),
        ([good(15.0), good(25.0), bad(35.0)], (2,)),
    ],
)
def test_pulls_beside_a_failed_check_are_in_doubt(checks, doubtful):
    assert pulls_in_doubt(checks, [10.0, 20.0, 30.0]) == doubtful


def test_the_bucket_needs_no_true_mass():
    found = check_ratio(1000.0, 499.0, LEVER)
    assert found.ratio == pytest.approx(1000.0 / 499.0)
    assert not found.blocks
    assert "agree" in found.words
    heavier = check_ratio(1370.0, 1.37 * 499.0, LEVER)
    assert heavier.ratio == pytest.approx(found.ratio)


def test_more_than_one_per_cent_apart_blocks_until_acknowledged():
    found = check_ratio(1000.0, 490.0, LEVER)
    assert found.blocks
    assert "+2.0 %" in found.words
    accepted = replace(found, acknowledged="link leans, new pin is ordered")
    assert not accepted.blocks
    assert "new pin" in accepted.words
    with pytest.raises(ValueError, match="take the zero first"):
        check_ratio(1000.0, 0.0, LEVER)


def test_a_plateau_is_taken_only_when_slope_and_noise_have_settled():
    seconds = np.arange(0.0, 12.0, 0.05)
    settling = 50_000.0 * (1.0 - np.exp(-seconds / 1.0))
    noise = np.random.default_rng(5).normal(0.0, 20.0, len(seconds))
    taken = [
        latest_plateau(settling[:n] + noise[:n], seconds[:n], 60.0, 60.0).steady
        for n in range(len(seconds) + 1)
    ]
    first = taken.index(True)
    assert 9.0 < seconds[first - 1] < 12.0  # e^-5 of the step is left 5 s before
    found = latest_plateau(settling + noise, seconds, 60.0, 60.0)
    assert found.mean == pytest.approx(50_000.0, abs=15.0)
    assert re.fullmatch(
        r"steady: drift [+-]\d+ counts \(limit 60\) in 4.0 s, noise \d+ counts \(limit 60\)",
        found.words(),
    )
    assert f"noise {found.noise / 2000:.3f} N (limit 0.030)" in found.words("N", 2000.0)
    shaking = settling + 200.0 * np.sin(40.0 * seconds)
    assert not latest_plateau(shaking, seconds, 60.0, 60.0).steady


def test_the_shift_between_two_zeros_is_a_specimen_force():
    calibration = Calibration("cells", ("a", "b"), (1, -1), (Curve((0.0, 100.0)),) * 2)
    spread = ((0.0, 0.0), (0.0, 0.0), 50)
    chain = ForceChain(calibration, Zero((10.0, 20.0), *spread), LEVER)
    assert chain.zero_shift_n(Zero((110.0, -180.0), *spread)) == pytest.approx(6.0)
