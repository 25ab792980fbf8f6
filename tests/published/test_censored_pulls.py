"""Pulls that ended whole, and the break of force against pilot, against published examples."""

import math

import numpy as np
import pytest

from analysis.statistics import censored, linear_model, plateau
from analysis.statistics.pairwise import from_estimates
from analysis.statistics.product_limit import product_limit

#: Locomotive controls, failures in thousand miles, 59 more running at 135; SAS LIFEREG example as
#: stored in SciPy's tests: lognormal, mu 5.1169, sigma 0.7055.
LOCOMOTIVES = """22.5 37.5 46.0 48.5 51.5 53.0 54.5 57.5 66.5 68.0 69.5 76.5 77.0 78.5 80.0 81.5
82.0 83.0 84.0 91.5 93.5 102.5 107.0 108.5 112.5 113.5 116.0 117.0 118.5 119.0 120.0 122.5 123.0
127.5 131.0 132.5 134.0"""
#: Invented pulls, N, of which the last two ended whole.
HOUSE = [1520, 1710, 1635, 1890, 1780, 1955, 1845, 1660, 2000, 2000]
HOUSE_WHOLE = [False] * 8 + [True] * 2
#: 6-MP remission times in weeks, + still in remission: published in many texts (from memory).
REMISSION = "6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+"


def test_lognormal_fit_of_the_locomotive_controls():
    """SAS LIFEREG: mu 5.1169, sigma 0.7055; dropping the survivors would give 4.4226."""
    failures = [float(text) for text in LOCOMOTIVES.split()]
    logs = np.log(failures + [135.0] * 59)
    fitted = censored.fit(logs, [False] * 37 + [True] * 59)
    assert fitted.coefficients[0] == pytest.approx(5.1169, abs=5e-5)
    assert fitted.sigma == pytest.approx(0.7055, abs=5e-5)


def test_normal_and_lognormal_fit_of_ten_pulls():
    """Invented pulls; SciPy's CensoredData gives 1819.847, 189.957 and 7.502976, 0.107069."""
    fitted = censored.fit(HOUSE, HOUSE_WHOLE)
    assert fitted.coefficients[0] == pytest.approx(1819.847, abs=1e-3)
    assert fitted.sigma == pytest.approx(189.957, abs=1e-3)
    logs = censored.fit(np.log(HOUSE), HOUSE_WHOLE)
    assert logs.coefficients[0] == pytest.approx(7.502976, abs=1e-6)
    assert logs.sigma == pytest.approx(0.107069, abs=1e-6)


def test_fit_agrees_with_scipy_on_other_pulls():
    """scipy.stats.norm.fit of CensoredData, on seeded samples with a third ended whole."""
    from scipy import stats

    rng = np.random.default_rng(11)
    for _ in range(5):
        force = rng.normal(4000, 500, 30)
        whole = force > 4200
        data = stats.CensoredData.right_censored(np.minimum(force, 4200), whole)
        mean, spread = stats.norm.fit(data)
        fitted = censored.fit(np.minimum(force, 4200), whole)
        assert fitted.coefficients[0] == pytest.approx(mean, rel=1e-5)
        assert fitted.sigma == pytest.approx(spread, rel=1e-3)


def test_without_such_pulls_it_is_the_usual_analysis():
    """Differences, intervals and F equal least squares when every pull failed (algebra)."""
    groups = [[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3]]
    values = np.concatenate(groups)
    plan = linear_model.design(list(np.repeat([0, 1, 2], 5)), [0, 1, 2])
    fitted = censored.fit(values, np.zeros(15, dtype=bool), plan.columns)
    pairs = censored.level_differences(fitted, plan)
    least = linear_model.fit(values, plan)
    plain = from_estimates(least.level_means, least.level_covariance, least.df)
    for ours, usual in zip(pairs, plain, strict=True):
        assert ours.difference == pytest.approx(usual.difference, rel=1e-9)
        assert ours.ci95 == pytest.approx(usual.ci95, rel=1e-6)
        assert ours.ci95_together == pytest.approx(usual.ci95_together, rel=1e-6)
        assert ours.p == pytest.approx(usual.p, rel=1e-6)
    test = censored.term_test(fitted, plan, linear_model.FACTOR)
    assert (test.f, test.p) == pytest.approx((9.591107, 0.0032482), rel=1e-5)  # NIST 7.4.3.3
    assert fitted.sd == pytest.approx(math.sqrt(17.452 / 12), rel=1e-9)


def test_interval_of_a_mean_lies_above_the_plain_one():
    """A pull that ended whole pulls the mean and its upper end up, never down."""
    fitted = censored.fit(HOUSE, HOUSE_WHOLE)
    low, high = censored.mean_interval(fitted)
    plain = np.mean(HOUSE)
    assert low < plain < fitted.coefficients[0] < high
    assert high - fitted.coefficients[0] > fitted.coefficients[0] - low


def test_too_few_failures_are_refused():
    """One failure carries no spread."""
    with pytest.raises(linear_model.ConfoundedError):
        censored.fit([1.0, 2.0, 2.0], [False, True, True])


def test_product_limit_of_the_remission_times():
    """6-MP remission times, published in many texts (from memory): S and a median of 23."""
    texts = REMISSION.split()
    times = [float(text.rstrip("+")) for text in texts]
    found = product_limit(times, [text.endswith("+") for text in texts])
    assert list(found.force) == [6, 7, 10, 13, 16, 22, 23]
    published = [0.857, 0.807, 0.753, 0.690, 0.627, 0.538, 0.448]
    assert list(found.holding) == pytest.approx(published, abs=5.1e-4)
    assert found.median == 23


#: SAS/STAT NLIN segmented example (from memory): a response that rises to a plateau.
SEGMENTED = [0.46, 0.47, 0.57, 0.61, 0.62, 0.68, 0.69, 0.78, 0.70, 0.74, 0.77, 0.78, 0.74, 0.80]
SEGMENTED += [0.80, 0.78]


def test_break_of_the_segmented_example():
    """SAS/STAT NLIN data (from memory), a straight line and a plateau, mirrored to fall.

    A curve fit from a usual start stops in a hollow at 9.1688 with squares 0.01427619 (computed);
    the grid must find that one's better, and a search over every thousandth none better still.
    """
    x = np.arange(1.0, 17.0)
    found = plateau.fit(-x, SEGMENTED)

    def squares(edge: float) -> float:
        columns = np.column_stack([np.ones(16), np.minimum(x, edge)])
        rest = SEGMENTED - columns @ np.linalg.lstsq(columns, SEGMENTED, rcond=None)[0]
        return float(rest @ rest)

    assert squares(9.168831) == pytest.approx(0.01427619, abs=1e-8)
    assert found.rest_ss < 0.01427619
    every = np.arange(1.5, 15.5, 0.001)
    best = every[int(np.argmin([squares(edge) for edge in every]))]
    assert -found.break_at == pytest.approx(best, abs=2e-3)
    assert found.rest_ss == pytest.approx(squares(-found.break_at), rel=1e-9)
    assert found.identified
    assert found.break_ci95[0] < found.break_at < found.break_ci95[1]


def test_a_known_break_is_found_and_its_interval_holds_it():
    """Simulated pilots with a break at 8.2 mm: the interval covers it in 93-97 %."""
    rng = np.random.default_rng(5)
    x = np.repeat(np.arange(7.0, 10.01, 0.3), 6)
    covered = 0
    for _ in range(120):
        y = 4500 - 1500 * np.maximum(x - 8.2, 0) + rng.normal(0, 250, x.size)
        found = plateau.fit(x, y)
        covered += found.break_ci95[0] <= 8.2 <= found.break_ci95[1]
    assert 0.92 <= covered / 120 <= 0.98


def test_a_break_is_not_claimed_from_three_diameters_or_a_straight_line():
    """Three diameters cannot show it; neither can a plain slope, or no effect at all."""
    rng = np.random.default_rng(6)
    three = np.repeat([8.0, 8.5, 9.0], 10)
    found = plateau.fit(three, 4500 - 1500 * np.maximum(three - 8.4, 0) + rng.normal(0, 50, 30))
    assert not found.identified
    assert "not identified" in found.words
    many = np.repeat(np.arange(7.0, 10.01, 0.3), 6)
    for slope in (-300.0, 0.0):
        claimed = sum(
            plateau.fit(many, 4000 + slope * many + rng.normal(0, 200, many.size)).identified
            for _ in range(60)
        )
        assert claimed <= 9
