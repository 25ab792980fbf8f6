"""Calibration, weights and zero against certified data and formulas; each source is named."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from daq.force.calibration_fit import Session, fit_calibration
from daq.force.points_file import parse_points
from daq.force.polynomial_fit import degree_limit, fit_polynomial, invert, t_quantile
from daq.force.weights import (
    CLASS_LIMITS_MG,
    CLASSES,
    buoyancy,
    class_limit_kg,
    class_limit_rel,
    local_gravity,
    normal_gravity_m_s2,
    weight_force_n,
    weights_known,
)
from daq.force.zero import take_zero

DATA = Path(__file__).parent / "data"
SESSION = Session(weights=weights_known("unknown"), gravity=local_gravity(None))


def rows(name: str) -> list[list[str]]:
    text = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.reader(line for line in text if not line.startswith("#")))[1:]


def pontius() -> str:
    return "\n".join(["load_n,response", *(f"{load},{y}" for _, load, y in rows("pontius.csv"))])


# NIST StRD, linear least squares, data set Pontius (load cell): certified values.
CERTIFIED = (0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14)
CERTIFIED_SD = (0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16)


@pytest.fixture(scope="module")
def fitted():
    return fit_calibration(parse_points(pontius(), "pontius.csv", local_gravity(None)), SESSION)


def test_pontius_coefficients_errors_and_scatter_to_eleven_digits(fitted):
    assert fitted.fit.degree == 2  # nobody said so
    assert fitted.fit.dof == 37
    assert fitted.fit.coefficients == pytest.approx(CERTIFIED, rel=1e-11)
    assert fitted.fit.standard_errors == pytest.approx(CERTIFIED_SD, rel=1e-11)
    assert fitted.fit.residual_sd == pytest.approx(0.205177424076185e-03, rel=1e-11)
    assert fitted.fit.r_squared == pytest.approx(0.999999900178537, abs=1e-14)


def test_pontius_in_raw_powers_would_not_reach_ten_digits():
    """Shows that the check above can fail: unscaled normal equations lose most digits."""
    table = np.array([row[1:] for row in rows("pontius.csv")], dtype=float)
    columns = np.vander(table[:, 0], 3, increasing=True)
    raw = np.linalg.lstsq(columns, table[:, 1], rcond=None)[0]
    assert abs(raw[0] / CERTIFIED[0] - 1.0) > 1e-10


def test_pontius_degree_by_the_f_test_of_the_averaged_loads(fitted):
    """Residual SDs and ratios re-computed apart from this program for the 20 averaged points."""
    sds = (2.22502e-3, 1.36712e-4, 1.35275e-4, 1.33737e-4, 1.38264e-4)
    assert fitted.choice.residual_sds == pytest.approx(sds, rel=1e-5)
    assert fitted.choice.ratios == pytest.approx((16.275, 1.0106, 1.0115, 0.9673), abs=1e-3)


@pytest.mark.parametrize(
    ("loads", "limits"),
    [
        # First row: the printed table of the annex of ASTM E74, from memory.
        (10, (1.373, 1.455, 1.582, 1.801)),
        # Further rows: the same formula, computed apart.
        (11, (1.315, 1.373, 1.455, 1.582)),
        (20, (1.131, 1.141, 1.151, 1.163)),
    ],
)
def test_the_limits_of_the_degree_test(loads, limits):
    found = [degree_limit(loads, degree) for degree in (2, 3, 4, 5)]
    assert found == pytest.approx(limits, abs=6e-4)


def test_pontius_lower_limit_and_range(fitted):
    """LLF = 2.4 s and 400 x LLF: ASTM E74-18, 7.1.2 and 8.5; figures computed apart."""
    quality = fitted.calibration.quality
    assert 2.4 * fitted.fit.residual_sd == pytest.approx(4.92425818e-4, rel=1e-8)
    assert quality.llf_n == pytest.approx(676.549, abs=5e-4)
    assert quality.class_a_from_n == pytest.approx(270619.6, abs=0.05)
    assert 2000.0 * quality.llf_n == pytest.approx(1353098.0, abs=0.05)


def test_pontius_reading_to_load_with_its_interval(fitted):
    """NIST/SEMATECH e-Handbook 4.5.2.1 prints 1 705 106 and 1 704 513 .. 1 705 698 (from memory);
    the decimals were computed apart."""
    found = invert(fitted.fit, 1.239722)
    assert (round(found.load), round(found.low), round(found.high)) == (1705106, 1704513, 1705698)
    assert found.load == pytest.approx(1705105.57, abs=5e-3)
    assert (found.low, found.high) == pytest.approx((1704513.37, 1705697.76), abs=5e-3)


@pytest.mark.parametrize(
    ("reading", "load"), [(0.5, 684105.5006), (1.0, 1373231.9089), (2.0, 2764087.6157)]
)
def test_pontius_further_readings(fitted, reading, load):
    """Computed apart, with 60 digits."""
    assert invert(fitted.fit, reading).load == pytest.approx(load, abs=6e-5)


def test_students_t():
    """t(0.975, 31), t(0.995, 16): printed tables."""
    assert t_quantile(0.975, 31) == pytest.approx(2.039513, abs=5e-7)
    assert t_quantile(0.995, 16) == pytest.approx(2.9208, abs=5e-5)


def test_a_zero_keeps_the_digits_of_the_michelson_data():
    """NIST StRD univariate set Michelso: mean 299.8524, SD 0.0790105478190518 (values x 100)."""
    values = np.array([float(row[0]) for row in rows("univariate_michelso.csv")])
    counts = np.rint(100.0 * values).astype(np.int32)
    zero = take_zero(counts[:, None], np.linspace(0.0, 2.0, len(counts)))
    assert zero.counts[0] / 100.0 == pytest.approx(299.8524, rel=1e-14)
    assert zero.sd[0] / 100.0 == pytest.approx(0.0790105478190518, rel=1e-13)


@pytest.mark.parametrize(
    ("values", "mean", "sd"),
    [
        # NIST StRD NumAcc1 and NumAcc2 (from memory), moved to whole counts within 24 bits.
        ([8000001, 8000003, 8000002], 8000002.0, 1.0),
        ([12, *[11, 13] * 500], 12.0, 1.0),
        # As NumAcc4, at the top of 24 bits: the sum-of-squares formula gives no digit of the SD.
        ([8388602, *[8388601, 8388603] * 500], 8388602.0, 1.0),
    ],
)
def test_a_zero_keeps_the_digits_of_large_counts(values, mean, sd):
    counts = np.array(values * (5 if len(values) < 5 else 1), dtype=np.int32)
    zero = take_zero(counts[:, None], np.linspace(0.0, 2.0, len(counts)))
    assert zero.counts[0] == mean
    expected = sd if len(values) > 5 else math.sqrt(10.0 / 14.0)
    assert zero.sd[0] == pytest.approx(expected, rel=1e-12)


# WGS 84 normal gravity (defining constants) and the WELMEC formula, computed apart.
GRAVITY = [
    (0, 9.780325336, 9.780318000),
    (30, 9.793247269, 9.793240245),
    (40, 9.801696863, 9.801689940),
    (45, 9.806197769, 9.806190853),
    (50, 9.810702136, 9.810695188),
    (60, 9.819176953, 9.819169824),
    (90, 9.832184938, 9.832177158),
]


@pytest.mark.parametrize(("latitude", "somigliana", "welmec"), GRAVITY)
def test_gravity_at_sea_level(latitude, somigliana, welmec):
    """The WELMEC guides' formula is fitted to an older ellipsoid: the two differ by 0.8e-5."""
    assert normal_gravity_m_s2(latitude) == pytest.approx(somigliana, abs=6e-10)
    assert normal_gravity_m_s2(latitude) == pytest.approx(welmec, abs=0.8e-5)


def test_gravity_at_height():
    """Both values are printed in the documentation of a public geodesy library (ahrs)."""
    assert round(normal_gravity_m_s2(55.0, 5000.0), 4) == 9.7997
    assert normal_gravity_m_s2(52.3, 80.0) == pytest.approx(9.812483709897048, abs=0.8e-5)  # WELMEC


def test_gravity_of_an_unknown_place_covers_the_earth():
    """Equator to pole is 0.529 % of the standard value (WGS 84)."""
    unknown = local_gravity(None)
    half = unknown.u_m_s2 * math.sqrt(3.0)
    assert unknown.value_m_s2 - half <= 9.7803253359 + 1e-9
    assert unknown.value_m_s2 + half >= 9.8321849378
    assert local_gravity(52.3, 80.0).u_m_s2 == 3e-4


@pytest.mark.parametrize(
    ("density", "kept"),
    [(7850, 0.999847), (7200, 0.999833), (8400, 0.999857), (11340, 0.999894), (2700, 0.999556)],
)
def test_buoyancy(density, kept):
    """1 - 1.2 / density, computed apart."""
    assert buoyancy(density) == pytest.approx(kept, abs=5e-7)


def test_the_force_of_twenty_kilograms():
    """Conventional mass, latitude 45, sea level; computed apart. 20 x 9.80665 is 0.02 % more."""
    force_n = weight_force_n(20.0, normal_gravity_m_s2(45.0))
    assert force_n == pytest.approx(196.094537, abs=5e-7)
    assert 20.0 * 9.80665 / force_n - 1.0 == pytest.approx(0.0002, abs=1e-5)


def test_class_limits_rise_with_mass_and_class():
    """OIML R 111-1:2004 Table 1: copies with misprints exist, so its order is checked."""
    masses = sorted(CLASS_LIMITS_MG)
    for which in CLASSES:
        limits = [class_limit_kg(kg, which) for kg in masses]
        assert limits == sorted(limits)
        assert len(set(limits)) == len(limits)
    for kg in masses:
        assert class_limit_kg(kg, "M1") < class_limit_kg(kg, "M2") < class_limit_kg(kg, "M3")


@pytest.mark.parametrize(("which", "percent"), [("M1", 0.005), ("M2", 0.016), ("M3", 0.05)])
def test_class_limits_as_parts_of_nominal(which, percent):
    """OIML R 111-1:2004 Table 1: from 100 g up M1 0.005 %, M2 0.016 %, M3 0.05 %."""
    assert class_limit_rel(which) == pytest.approx(percent / 100.0, rel=1e-12)
    assert class_limit_kg(20.0, "M1") == 1e-3


def test_a_line_fitted_in_any_unit_of_load():
    """NIST StRD Norris-like check of scaling: the same data in kN give the same response."""
    table = np.array([row[1:] for row in rows("pontius.csv")], dtype=float)
    newton = fit_polynomial(table[:, 0], table[:, 1], 2)
    kilo = fit_polynomial(table[:, 0] / 1000.0, table[:, 1], 2)
    assert kilo.coefficients == pytest.approx(
        newton.coefficients * np.array([1.0, 1e3, 1e6]), rel=1e-12
    )
