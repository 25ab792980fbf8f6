"""Laws of counts to force: linear in the ratio, exact on noiseless data, additive, reversible."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.curve import Curve
from daq.force.force_chain import ForceChain
from daq.force.points_file import parse_points
from daq.force.weights import local_gravity, weights_known
from daq.force.zero import Zero
from daq.rig.rig import Lever

SESSION = Session(weights=weights_known("M1"), gravity=local_gravity(52.0))
LEVER = Lever(fulcrum="end", jack_arm_mm=400.0, specimen_arm_mm=200.0)

slopes = st.floats(1e-3, 5e3)
counts = st.lists(
    st.tuples(st.integers(-(1 << 23), (1 << 23) - 1), st.integers(-(1 << 23), (1 << 23) - 1)),
    min_size=1,
    max_size=20,
)


def line(slope: float, load_at="cells") -> Calibration:
    curve = Curve((0.0, slope))
    return Calibration(load_at, ("a", "b"), (1, -1), (curve, curve), verified_to_n=1e3)


@given(rows=counts, slope=slopes, stretch=st.floats(0.1, 20.0))
@settings(max_examples=60, deadline=None)
def test_specimen_force_is_linear_in_the_ratio(rows, slope, stretch):
    block = np.array(rows, dtype=np.int32)
    zero = Zero((120.0, -7.0), (0.0, 0.0), (0.0, 0.0), 50)
    longer = replace(LEVER, jack_arm_mm=LEVER.jack_arm_mm * stretch)
    one = ForceChain(line(slope), zero, LEVER).forces(block)
    other = ForceChain(line(slope), zero, longer).forces(block)
    assert other.at_specimen_n == pytest.approx(one.at_specimen_n * stretch, rel=1e-12)
    assert np.array_equal(one.at_cells_n, other.at_cells_n)
    there = ForceChain(line(slope, "specimen"), zero, longer).forces(block)
    assert np.array_equal(there.at_specimen_n, one.at_cells_n)  # no ratio for the second kind


@given(
    slope=st.floats(0.5, 5e3),
    bend=st.floats(-0.1, 0.1),
    zero=st.integers(-200_000, 200_000),
    degree=st.integers(1, 3),
    reverse=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_noiseless_weights_give_the_curve_back(slope, bend, zero, degree, reverse):
    loads = np.array([0.0, 50.0, 100.0, 150.0, 200.0, 250.0, 300.0, 350.0, 400.0])
    bends = {1: (), 2: (bend * slope / 400.0,), 3: (bend * slope / 400.0, bend * slope / 4e5)}
    true = np.array([zero, slope, *bends[degree]]) * (-1.0 if reverse else 1.0)
    responses = np.polynomial.polynomial.polyval(loads, true)
    text = "load_n,response\n" + "\n".join(
        f"{float(load)!r},{float(y)!r}" for load, y in zip(loads, responses, strict=True)
    )
    table = parse_points(text, "w.csv", SESSION.gravity)
    found = fit_calibration(table, replace(SESSION, degree=degree))
    made = found.calibration
    net = (responses - responses[0])[:, None]
    assert made.cell_forces_n(net)[:, 0] == pytest.approx(loads, rel=1e-8, abs=1e-6)
    assert found.reversed_cells == (("all cells",) if reverse else ())


@given(
    gains=st.lists(st.floats(20.0, 4e3), min_size=2, max_size=4), turn=st.integers(0, 15),
    seed=st.integers(0, 99),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_noiseless_weights_at_different_spots_give_each_gain_back(gains, turn, seed):
    cells = len(gains)
    slopes = np.array([g * (-1.0 if turn >> i & 1 else 1.0) for i, g in enumerate(gains)])
    shares = np.random.default_rng(seed).dirichlet(np.ones(cells), 4 * cells)
    loads = np.linspace(50.0, 400.0, 4 * cells)
    responses = loads[:, None] * shares * slopes + 1000.0
    head = ",".join(["load_n", *(f"response_{i}" for i in range(cells))])
    body = [",".join(map(repr, map(float, [f, *r]))) for f, r in zip(loads, responses, strict=True)]
    found = fit_calibration(
        parse_points("\n".join([head, *body]), "w.csv", SESSION.gravity), SESSION
    )
    assert [gain.counts_per_newton for gain in found.gains] == pytest.approx(slopes, rel=1e-8)
    forces = found.calibration.cell_forces_n(responses - 1000.0)
    assert forces == pytest.approx(loads[:, None] * shares, rel=1e-7, abs=1e-6)


@given(
    first=st.floats(100.0, 3000.0),
    second=st.floats(-0.1, 0.1),
    loads=st.lists(st.floats(-50.0, 2000.0), min_size=1, max_size=30),
)
@settings(max_examples=60, deadline=None)
def test_a_curve_never_falls(first, second, loads):
    curve = Curve((0.0, first, second * first / 400.0), up_to_n=400.0)
    found = curve.loads_n(np.sort(np.array(loads)) * first)
    assert np.all(np.diff(found) >= -1e-9)


def test_the_noise_of_a_fit_is_seen_in_its_figures():
    """Seeded: over 400 fits of a line the standard errors match the spread of the slopes."""
    random = np.random.default_rng(11)
    loads = np.tile([0.0, 50.0, 100.0, 200.0, 400.0], 4)
    slopes, errors = [], []
    for _ in range(400):
        rows = zip(loads, 100.0 * loads + random.normal(0.0, 30.0, len(loads)), strict=True)
        text = "load_n,response\n" + "\n".join(f"{float(a)!r},{float(b)!r}" for a, b in rows)
        found = fit_calibration(
            parse_points(text, "w.csv", SESSION.gravity), replace(SESSION, degree=1)
        )
        slopes.append(found.fit.coefficients[1])
        errors.append(found.fit.standard_errors[1])
    assert np.std(slopes) == pytest.approx(np.sqrt(np.mean(np.square(errors))), rel=0.1)


@given(data=st.data())
@settings(max_examples=300, deadline=None)
def test_a_damaged_calibration_is_refused_in_words_or_is_the_same(data):
    points = "load_n,response\n0,1\n10,1000\n20,2003\n40,4001\n"
    made = fit_calibration(parse_points(points, "w.csv", SESSION.gravity), SESSION).calibration
    text = made.to_json()
    start = data.draw(st.integers(0, len(text) - 1))
    length = data.draw(st.integers(0, 12))
    filling = data.draw(
        st.sampled_from(["", "[", "{}", "null", "-1", "1e999", '"x"', "NaN", "true"])
    )
    try:
        found = Calibration.from_json(text[:start] + filling + text[start + length :], "c.json")
    except InputFault as fault:
        assert str(fault).startswith("c.json")
    else:
        assert found == made


def test_a_calibration_nested_without_end_is_refused():
    with pytest.raises(InputFault, match="nested without end"):
        Calibration.from_json("[" * 100_000, "c.json")


def test_whole_numbers_keep_their_fingerprint_through_a_file():
    made = Calibration("cells", ("a",), (1,), (Curve((0, 100)),), verified_to_n=400)
    assert Calibration.from_json(made.to_json()) == made


@given(
    text=st.text(max_size=200), columns=st.sampled_from(["load_n,response\n", "mass_kg,void\n", ""])
)
@settings(max_examples=200, deadline=None)
def test_any_text_is_a_table_of_points_or_refused_in_words(text, columns):
    try:
        parse_points(columns + text, "w.csv", SESSION.gravity)
    except InputFault as fault:
        assert "w.csv" in str(fault)
