"""Groups against NIST data sets, handbook examples and stored outputs of reference programs.

StRD = NIST Statistical Reference Datasets, itl.nist.gov/div898/strd; NIST = NIST/SEMATECH
e-Handbook of Statistical Methods, itl.nist.gov/div898/handbook.
"""

import csv
import math
from collections import defaultdict
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from analysis.statistics import linear_model, one_way, outliers, pairwise
from analysis.statistics.characteristic import (
    exact_factor,
    lognormal,
    rank_limit,
    table_factor,
)
from analysis.statistics.equivalence import of_estimate, of_pair
from analysis.statistics.sample_size import (
    for_difference,
    for_equivalence,
    for_mean,
    whole_pulls,
)
from analysis.statistics.summary import summarise, t_interval

DATA = Path(__file__).parent / "data"
#: Ten invented pulls, N (results recomputed with 50 digits and by SciPy).
W10 = [1820, 2050, 1640, 2310, 1970, 1760, 2120, 1890, 1580, 2200]
#: NIST 7.4.3.3 (the first three groups) and 7.4.7.1.
N4 = [
    [6.9, 5.4, 5.8, 4.6, 4.0],
    [8.3, 6.8, 7.8, 9.2, 6.5],
    [8.0, 10.5, 8.1, 6.9, 9.3],
    [5.8, 3.8, 6.1, 5.6, 6.2],
]


def table(name: str) -> list[dict[str, str]]:
    """Rows of a data file, its comments left out."""
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def strd_groups(name: str) -> list[list[float]]:
    groups: dict[str, list[float]] = defaultdict(list)
    for row in table(name):
        groups[row["group"]].append(float(row["value"]))
    return list(groups.values())


def smls(repeats: int, offset: str) -> list[list[float]]:
    """StRD SmLs01-09: nine treatments at offset + 1.4, 1.3, 1.5, ..., each -+ 0.1 in turn.

    The construction is Simon and Lesage (1989), from memory; all nine certified F come out of it.
    """
    base = Decimal(offset)
    levels = [
        Decimal(text) for text in (["1.4", "1.3", "1.5", "1.3", "1.5", "1.3", "1.5", "1.3", "1.5"])
    ]
    tenth = Decimal("0.1")
    steps = [Decimal(0), *([-tenth, tenth] * ((repeats - 1) // 2))]
    return [[float(base + level + step - 1) for step in steps] for level in levels]


def tukey(groups: list[list[float]]) -> tuple[pairwise.Difference, ...]:
    """Differences of groups that share one spread, through the model that ``compare`` fits."""
    labels = [place for place, group in enumerate(groups) for _ in group]
    plan = linear_model.design(labels, list(range(len(groups))))
    fitted = linear_model.fit(np.concatenate(groups), plan)
    return pairwise.from_estimates(fitted.level_means, fitted.level_covariance, fitted.df)


def test_strd_sirstv():
    """StRD SiRstv, average difficulty: 12 digits."""
    result = one_way.one_way(strd_groups("anova_SiRstv.csv"))
    assert (result.df_between, result.df_within) == (4, 20)
    assert result.f == pytest.approx(1.18046237440255, rel=1e-12)
    assert result.ss_between == pytest.approx(5.11462616e-02, rel=1e-12)
    assert result.ss_within == pytest.approx(2.1663656e-01, rel=1e-12)
    assert result.eta_squared == pytest.approx(0.190999039051129, rel=1e-12)
    assert result.residual_sd == pytest.approx(0.104076068334656, rel=1e-12)


def test_strd_atmwtag():
    """StRD AtmWtAg, seven leading digits constant: 9 digits."""
    result = one_way.one_way(strd_groups("anova_AtmWtAg.csv"))
    assert (result.df_between, result.df_within) == (1, 46)
    assert result.f == pytest.approx(15.9467335677930, rel=1e-9)
    assert result.ss_between == pytest.approx(3.638341875e-09, rel=1e-9)
    assert result.ss_within == pytest.approx(1.04951729166667e-08, rel=1e-9)
    assert result.eta_squared == pytest.approx(0.257426544538321, rel=1e-9)
    assert result.residual_sd == pytest.approx(1.51048314446410e-05, rel=1e-9)


@pytest.mark.parametrize(("offset", "digits"), [("1", 13), ("1000000", 9.5), ("1000000000000", 4)])
@pytest.mark.parametrize(("repeats", "f"), [(21, 21.0), (201, 201.0), (2001, 2001.0)])
def test_strd_smls(repeats, f, offset, digits):
    """StRD SmLs01-03, 04-06, 07-09. The last three lose their digits in the input doubles."""
    result = one_way.one_way(smls(repeats, offset))
    assert (result.df_between, result.df_within) == (8, 9 * repeats - 9)
    assert result.f == pytest.approx(f, rel=10**-digits)
    assert result.residual_sd == pytest.approx(0.1, rel=10**-digits)


def test_group_interval_of_zarr13():
    """NIST 1.3.5.2 (published figures from memory): n 195, interval 9.258242 .. 9.264679."""
    n, mean, sd = 195, 9.261460, 0.02278881
    low, high = t_interval(mean, sd / math.sqrt(n), n - 1)
    assert low == pytest.approx(9.258242, abs=1.5e-6)
    assert high == pytest.approx(9.264679, abs=1.5e-6)


def test_group_summary_of_ten_pulls():
    """Ten invented pulls, computed elsewhere with 50 digits."""
    group = summarise(W10)
    assert (group.n, group.mean) == (10, 1934.0)
    assert group.sd == pytest.approx(240.009259, abs=1e-6)
    assert group.cov == pytest.approx(0.1240999, abs=1e-7)
    assert group.ci95 == pytest.approx((1762.308, 2105.692), abs=1e-3)
    assert math.log(group.geometric_mean) == pytest.approx(7.560339533, abs=1e-9)


def test_one_and_two_pulls_claim_no_more_than_they_can():
    """One value has no SD and no interval; two have t = 12.706 (table of Student's t)."""
    one = summarise([5.0])
    assert one.mean == 5.0
    assert math.isnan(one.sd)
    assert all(map(math.isnan, one.ci95))
    two = summarise([4.0, 6.0])
    assert two.ci95[1] - two.mean == pytest.approx(12.706, abs=5e-4)


def test_anova_of_the_nist_handbook():
    """NIST 7.4.3.3: SST 27.897, SSE 17.452, MST 13.949, MSE 1.454, F 9.59, p .00325 (memory)."""
    result = one_way.one_way(N4[:3])
    assert result.ss_between == pytest.approx(27.897, abs=5e-4)
    assert result.ss_within == pytest.approx(17.452, abs=5e-4)
    assert result.ss_between / 2 == pytest.approx(13.949, abs=5e-4)
    assert result.ms_within == pytest.approx(1.454, abs=5e-4)
    assert result.f == pytest.approx(9.59, abs=5e-3)
    assert result.p == pytest.approx(0.00325, abs=5e-6)
    assert result.eta_squared == pytest.approx(0.615165, abs=1e-6)
    assert result.omega_squared == pytest.approx(0.533904, abs=1e-6)


def test_shares_are_never_negative():
    """Omega squared of groups that agree better than chance is printed as 0."""
    assert one_way.one_way([[1.0, 3.0], [1.1, 2.9], [0.9, 3.1]]).omega_squared == 0.0


def test_tukey_intervals_of_the_nist_handbook():
    """NIST 7.4.7.1, four groups; the handbook lists 1-4, 2-3, 2-4 and 3-4 the other way round."""
    published = {
        (1, 0): (0.29, 4.47),
        (2, 0): (1.13, 5.31),
        (0, 3): (-2.25, 1.93),
        (1, 2): (-2.93, 1.25),
        (1, 3): (0.13, 4.31),
        (2, 3): (0.97, 5.15),
    }
    pairs = {(pair.a, pair.b): pair for pair in tukey(N4)}
    for (a, b), interval in published.items():
        if (a, b) in pairs:
            low, high = pairs[a, b].ci95_together
        else:
            high, low = (-end for end in pairs[b, a].ci95_together)
        assert (low, high) == pytest.approx(interval, abs=5.1e-3)
    assert pairwise.range_quantile(0.95, 4, 16) == pytest.approx(4.046, abs=5e-4)
    assert pairs[1, 0].p == pytest.approx(0.022793, abs=2e-6)
    assert pairs[3, 2].p == pytest.approx(0.003451, abs=2e-6)


def test_welch_against_r_and_a_documented_example():
    """R 'oneway.test' as stored in SciPy's tests; the second F recomputed by two programs."""
    groups = [
        [-50.42, 40.31, -18.09, 35.58, -6.8, 0.22],
        [23.44, 4.5, 15.1, 9.66],
        [11.94, 11.1, 9.87, 9.09, 3.33],
    ]
    result = one_way.welch(groups)
    assert result.f == pytest.approx(0.609740409019517, rel=1e-12)
    assert result.p == pytest.approx(0.574838941286302, rel=1e-12)
    four = one_way.welch(N4)
    assert (four.f, four.p) == pytest.approx((8.072769, 0.00667238), rel=1e-6)
    assert (four.df_between, four.df_within) == pytest.approx((3, 8.837426), rel=1e-6)


def test_games_howell_against_r():
    """R 'PMCMRplus' as stored in SciPy's tests."""
    groups = [[24, 23, 31, 51], [34, 18, 18, 26], [17, 68, 59, 7]]
    found = {(pair.a, pair.b): pair.p for pair in pairwise.games_howell(groups)}
    assert found[1, 0] == pytest.approx(0.55873362851759, abs=1e-6)
    assert found[2, 0] == pytest.approx(0.94114775035993, abs=1e-6)
    assert found[2, 1] == pytest.approx(0.68298393799782, abs=1e-6)


def test_kruskal_wallis_of_the_nist_handbook():
    """NIST 7.4.1: H 13.678 without the correction for ties (published from memory)."""
    result = one_way.kruskal_wallis(
        [
            [4.2, 4.6, 3.9, 4.0],
            [3.3, 2.4, 2.6, 3.8, 2.8],
            [1.9, 2.4, 2.1, 2.7, 1.8],
            [3.5, 3.1, 3.7, 4.1, 4.4],
        ]
    )
    assert result.h_uncorrected == pytest.approx(13.678, abs=5e-4)
    assert (result.df, result.tied) == (3, 2)
    assert (result.h, result.p) == pytest.approx((13.690430, 0.0033583), rel=2e-5)


@pytest.mark.parametrize("row", table("tolerance_factors.csv"), ids=lambda row: row["n"])
def test_tolerance_factors(row):
    """Exact factors n = 3..100 beside the printed three-decimal tables (tolerance 0.002)."""
    n = int(row["n"])
    assert exact_factor(n) == pytest.approx(float(row["k75"]), abs=1e-4)
    assert exact_factor(n, 0.95) == pytest.approx(float(row["k95"]), abs=1e-4)
    for column, confidence in (("pub75", 0.75), ("pub95", 0.95)):
        if row[column] not in ("", "nan"):
            assert exact_factor(n, confidence) == pytest.approx(float(row[column]), abs=2.1e-3)
    if row["en14358_table"]:
        assert table_factor(n) == (float(row["en14358_table"]), n)


def test_characteristic_table_takes_the_next_larger_factor():
    """EN 14358:2016 3.2.2: for n = 7 that is the factor of n = 5."""
    assert table_factor(7) == (2.46, 5)
    assert table_factor(499) == (1.76, 100)
    with pytest.raises(ValueError, match="three"):
        table_factor(2)


def test_characteristic_value_of_ten_pulls():
    """EN 14358 on ten invented pulls: table and exact factor (computed)."""
    assert lognormal(W10).value == pytest.approx(1476.57, abs=5e-3)
    assert lognormal(W10, "exact").value == pytest.approx(1475.89, abs=5e-3)
    other = [4210, 3980, 4655, 5120, 4380, 4475, 3890, 4760, 4520, 4310]
    assert lognormal(other, "exact").value == pytest.approx(3715.07, rel=1e-5)


def test_characteristic_value_has_a_floor_under_the_scatter():
    """Four pulls that agree too well count with 5 % (floor from memory; 874.564 computed)."""
    found = lognormal([1000, 1001, 999, 1000], "exact")
    assert found.floored
    assert found.value == pytest.approx(874.564, abs=1e-3)


@pytest.mark.parametrize(
    ("confidence", "smallest"),
    [
        (0.75, [28, 53, 78, 102, 125, 148, 170, 193, 215, 237]),
        (0.95, [59, 93, 124, 153, 181, 208, 234, 260, 286, 311]),
    ],
)
def test_rank_limits(confidence, smallest):
    """Smallest n for the r-th value; at 75 % the first six are ASTM D2915's (from memory)."""
    for rank, n in enumerate(smallest, start=1):
        values = list(range(1, n + 1))
        assert rank_limit(values, [False] * n, confidence) == rank
        fewer = rank_limit(values[:-1], [False] * (n - 1), confidence)
        assert fewer == (rank - 1 or None)


def test_rank_limit_refuses_a_low_value_that_is_only_a_bound():
    """A pull that ended whole below the limit says nothing about the limit."""
    values = list(range(1, 29))
    assert rank_limit(values, [False] * 27 + [True]) == 1
    assert rank_limit(values, [True] + [False] * 27) is None


def test_grubbs_of_the_nist_handbook():
    """NIST 1.3.5.17.1, uranium: G 2.4687, one-sided critical value 2.032."""
    values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    found = outliers.grubbs(values, two_sided=False)
    assert found.statistic == pytest.approx(2.4687, abs=1.1e-4)
    assert found.critical == pytest.approx(2.032, abs=5e-4)
    assert (found.index, found.flagged) == (7, True)
    assert outliers.grubbs(values).critical == pytest.approx(2.126645, abs=1e-6)


ROSNER = """-0.25 0.68 0.94 1.15 1.20 1.26 1.26 1.34 1.38 1.43 1.49 1.49 1.55 1.56 1.58 1.65 1.69
1.70 1.76 1.77 1.81 1.91 1.94 1.96 1.99 2.06 2.09 2.10 2.14 2.15 2.23 2.24 2.26 2.35 2.37 2.40 2.47
2.54 2.62 2.64 2.90 2.92 2.92 2.93 3.21 3.26 3.30 3.59 3.68 4.30 4.64 5.34 5.42 6.01"""


def test_esd_of_the_nist_handbook():
    """NIST 1.3.5.17.3, Rosner: three outliers although the first two steps pass (truncated)."""
    values = [float(text) for text in ROSNER.split()]
    steps = outliers.extreme_deviates(values, 10)
    published = [3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067]
    limits = [3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085]
    assert [step.statistic for step in steps] == pytest.approx(published, abs=2e-3)
    assert [step.critical for step in steps] == pytest.approx(limits, abs=2e-3)
    assert [step.flagged for step in steps[:4]] == [False, False, True, False]
    assert outliers.suspects(values) == (51, 52, 53)


@pytest.mark.parametrize("row", table("outlier_critical_values.csv"), ids=lambda row: row["n"])
def test_outlier_limits(row):
    """Grubbs by the NIST formula, n = 3..30; Dixon 95 % of Anal. Chem. 63 (1991) 139.

    The printed Dixon values differ by up to 0.003 from quadrature and from 10^6 random samples.
    """
    n = int(row["n"])
    values = [0.0] * (n - 1) + [1.0]
    one = outliers.grubbs(values, two_sided=False).critical
    assert one == pytest.approx(float(row["grubbs_onesided_05"]), abs=1e-4)
    both = outliers.grubbs(values).critical
    assert both == pytest.approx(float(row["grubbs_twosided_05"]), abs=1e-4)
    if n in outliers.DIXON_5_PERCENT:
        assert outliers.DIXON_5_PERCENT[n] == pytest.approx(float(row["pub_q95"]), abs=3e-3)


def test_equivalence_of_a_documented_example():
    """Two one-sided tests, bound 1: p 0.965097, df 10 (a program's manual, from memory)."""
    pair = tukey([[6, 8, 7, 10, 11, 9], [4, 7, 8, 6, 3, 2]])[0]
    found = of_estimate(pair.difference, pair.standard_error, pair.df, 1)
    assert of_pair(pair, 1) == pytest.approx(found.p, rel=1e-12)
    assert (found.p, found.df) == (pytest.approx(0.965097, abs=1e-6), 10)
    assert found.t_lower == pytest.approx(-2.029995, abs=1e-6)
    assert found.t_upper == pytest.approx(-3.653991, abs=1e-6)


def test_equivalence_is_the_same_as_the_ninety_percent_interval_inside_the_bound():
    """Both ways to say it agree, for two groups and for one pair of four."""
    for groups in (N4[:2], N4):
        for pair in tukey(groups):
            reach = max(map(abs, pair.together(0.90)))
            assert of_pair(pair, reach * 1.0001) < 0.05 < of_pair(pair, reach * 0.9999)


#: n per group, two-sided 5 %, power 80 % and 90 %, COV by difference (5, 10, 15, 20, 30 %).
#: Computed with the noncentral t; 22.0211 below is R's 'power.t.test'.
POWER_TABLE = {
    10: [(64, 86), (17, 23), (9, 11), (6, 7), (4, 4)],
    15: [(143, 191), (37, 49), (17, 23), (10, 13), (6, 7)],
    20: [(253, 338), (64, 86), (29, 39), (17, 23), (9, 11)],
    25: [(394, 527), (100, 133), (45, 60), (26, 34), (12, 16)],
    30: [(567, 758), (143, 191), (64, 86), (37, 49), (17, 23)],
}


def test_pulls_for_a_difference():
    """The table above, and 22.02110 for one SD at 90 % (R, from memory)."""
    for cov, row in POWER_TABLE.items():
        for difference, (at_80, at_90) in zip((5, 10, 15, 20, 30), row, strict=True):
            assert whole_pulls(for_difference(difference / cov)) == at_80
            assert whole_pulls(for_difference(difference / cov, 0.90)) == at_90
    assert for_difference(1.0, 0.90) == pytest.approx(22.02110, abs=5e-5)


def test_pulls_for_equivalence():
    """n per group to show +-D at true difference 0, power 80 % (exact integration, computed)."""
    cases = {(10, 10): 18, (15, 10): 40, (20, 10): 70, (15, 15): 18}
    for (cov, bound), n in cases.items():
        assert whole_pulls(for_equivalence(bound / cov)) == n


def test_pulls_for_a_mean():
    """ASTM D2915 form (from memory), +-5 %: 37.02, 63.90, 98.47 at COV 15, 20, 25 % (computed)."""
    found = [for_mean(cov, 0.05) for cov in (0.15, 0.20, 0.25)]
    assert found == pytest.approx([37.02, 63.90, 98.47], abs=6e-3)
