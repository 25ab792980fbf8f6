"""Known weights: what is refused and where, what is computed, what the statement claims."""

import json
import re
from dataclasses import replace

import pytest

from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.points_file import parse_points, read_points
from daq.force.polynomial_fit import invert
from daq.force.weights import local_gravity, weight_force_n, weights_known
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop

GRAVITY = local_gravity(52.3, 80.0)
SESSION = Session(
    weights=weights_known("M2"), gravity=GRAVITY, made_on="2031-05-04", temperature_c=19.0
)
UP_DOWN = """\
# two series on the bench
mass_kg,response,direction,series,void

0,-1210,up,1,
20,418500,up,1,
40,838100,up,1,
40,838900,up,1,leaned on the rig
20,418900,down,1,
0,-1130,down,1,
0,-1000,up,2,
20,418600,up,2,
40,838300,up,2,
20,419100,down,2,
0,-980,down,2,
"""


def fit(text: str, **changes):
    return fit_calibration(parse_points(text, "w.csv", GRAVITY), replace(SESSION, **changes))


def refusal(text: str, **changes) -> str:
    with pytest.raises(InputFault) as caught:
        fit(text, **changes)
    assert all(problem.file == "w.csv" for problem in caught.value.problems)
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("", "w.csv", "holds no points"),
        ("load,response\n1,2\n", "w.csv:1: load", "has no unit"),
        ("load_n,responce\n1,2\n", "w.csv:1: responce", 'nearest is "response"'),
        ("load_n,response,serie\n1,2,3\n", "w.csv:1: serie", 'nearest is "series"'),
        ("load_n;response\n1;2\n", "w.csv:1: load_n;response", "parted by commas"),
        ("load_n,mass_kg,response\n1,2,3\n", "w.csv:1: load", "both there"),
        ("load_n\n1\n", "w.csv:1: response", "no response column"),
        ("response\n1\n", "w.csv:1: load", "no load column"),
        ("load_n,response,response\n1,2,3\n", "w.csv:1: response", "there twice"),
        ("load_n,response,response_a\n1,2,3\n", "w.csv:1: response", "one or the other"),
        ("load_n,response\n0,1\n10\n", "w.csv:3", "has 1 fields, the header 2"),
        ("load_n,response\n0,1\nten,2\n", "w.csv:3: load_n", '"ten" is not a number'),
        ("load_n,response\n0,1\n10,\n", "w.csv:3: response", "is empty"),
        ("load_n,response\n0,1\n10,nan\n", "w.csv:3: response", "not a number"),
        ("load_n,response\n0,1\n10,1_0\n", "w.csv:3: response", "not a number"),
        ("load_n,response\n0,1\n-10,5\n", "w.csv:3: load_n", "negative"),
        ("load_n,response\n0,1\n10,8388607\n", "w.csv:3: response", "outside 24 bits"),
        ("load_n,response\n0,1\n10,-9e6\n", "w.csv:3: response", "outside 24 bits"),
        ("load_n,response,direction\n0,1,up\n1,2,sideways\n", "w.csv:3: direction", "up or down"),
        ("load_n,response\n0,1\n10,2\n", "w.csv:3: load_n", "at least three"),
        ("load_n,response\n10,1\n10,2\n10,3\n", "w.csv:4: load_n", "all loads are equal"),
        ("load_n,response\n0,1\n10,2\n10,3\n", "w.csv:4: load_n", "one weight only"),
        ("load_n,response\n0,7\n10,7\n20,7\n", "w.csv:4: response", "never changes"),
        (
            "load_n,response,direction\n0,0,up\n20,200,up\n10,100,up\n40,400,up\n",
            "w.csv:4: direction", "says up, but 10 N follows 20 N",
        ),
        (
            "load_n,response,direction\n0,0,up\n20,200,up\n40,400,up\n10,100,down\n20,200,down\n",
            "w.csv:6: direction", "says down, but 20 N follows 10 N",
        ),
        (
            "load_n,response,direction\n0,0,up\n20,200,up\n40,400,up\n30,300,down\n",
            "w.csv:5: load_n", "comes down but never went up",
        ),
        (
            "load_n,response\n-0,0\n1021,10\n2039,20\n4055,40\n2041,20\n1019,10\n",
            "w.csv:2: load_n", "look swapped",
        ),
        ("mass_kg,response\n12,0\n104000,5\n208900,10\n419000,20\n", "w.csv:2", "look swapped"),
        ("load_n,response\n0,0\n10,90\n20,99\n30,50\n", "w.csv:2: response", "does not rise"),
        ("load_n,response\n0,7\n10,7\n20,90\n40,190\n", "w.csv:3: response", "the same as no load"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_with_its_place(text, place, words):
    degree = 2 if words == "does not rise" else None
    message = refusal(text, degree=degree)
    assert message.startswith(place), message
    assert words in message


def test_every_problem_is_told_at_once():
    message = refusal("load_n,response\nx,1\n10,y\n20\n")
    assert [line.split(":")[1] for line in message.splitlines()] == ["2", "3", "4"]


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path):
    with pytest.raises(InputFault, match="cannot be read"):
        read_points(tmp_path / "none.csv", GRAVITY)
    (tmp_path / "binary.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputFault, match="not text"):
        read_points(tmp_path / "binary.csv", GRAVITY)


@pytest.mark.parametrize(
    ("degree", "words"), [(0, "1 to 5"), (6, "1 to 5"), (3, "needs 4 different loads")]
)
def test_a_degree_the_points_cannot_bear_is_refused(degree, words):
    assert words in refusal("load_n,response\n0,1\n10,2\n20,3\n20,3.1\n0,1.1\n", degree=degree)


def test_masses_become_forces_of_this_place():
    found = fit(UP_DOWN)
    assert found.calibration.verified_to_n == pytest.approx(
        weight_force_n(40.0, 9.8124906), rel=1e-6
    )
    assert found.calibration.points[1].typed == "20 kg"


def test_units_of_load_are_converted_exactly():
    """1 kgf = 9.80665 N and 1 lbf = 4.4482216152605 N, by definition."""
    for unit, newtons in (("load_n", 1.0), ("load_kgf", 9.80665), ("load_lbf", 4.4482216152605)):
        text = f"{unit},response\n0,0\n10,100\n20,200\n"
        assert fit(text).calibration.verified_to_n == pytest.approx(20.0 * newtons, rel=1e-15)


def test_a_voided_point_is_kept_with_its_reason_and_does_not_count():
    found = fit(UP_DOWN)
    assert found.fit.dof == 10 - 2
    assert [point.void for point in found.calibration.points if point.void] == ["leaned on the rig"]
    assert "1 more kept but voided" in found.calibration.statement


def test_figures_of_the_series():
    """By the formulas of ISO 376 (from memory), worked by hand from the rows."""
    quality = fit(UP_DOWN, degree=1).calibration.quality
    up, down = (419710, 420110), (419600, 420100)
    gap = (abs(up[1] - up[0]) / up[0] + abs(down[1] - down[0]) / down[0]) / 2
    assert quality.hysteresis_percent == pytest.approx(100.0 * gap, rel=1e-9)
    assert quality.zero_return_percent == pytest.approx(100.0 * 80 / 839310, rel=1e-9)
    assert quality.repeatability_percent == pytest.approx(100.0 * 110 / 419655, rel=1e-9)


def test_what_was_not_recorded_is_not_known():
    found = fit("load_n,response\n0,0\n100,1001\n200,1999\n400,4002\n")
    quality = found.calibration.quality
    assert quality.hysteresis_percent is None
    assert quality.zero_return_percent is None
    assert quality.repeatability_percent is None
    assert "hysteresis is not known" in found.calibration.statement


def test_the_statement_claims_what_it_may_and_no_class():
    words = fit(UP_DOWN).calibration.statement
    for piece in ("agrees with the force of these weights", "196.2 N to 392.4 N at the cells",
                  "Nothing is calibrated above 392.4 N", "arms and friction of the lever were not",
                  "2031-05-04", "19 degC", "Increasing and decreasing load", "class M2 by OIML",
                  "claims no class of any standard"):  # fmt: skip
        assert piece in words
    for claim in ("ISO 376", "E74", "7500", "E4", "class A", "verified class"):
        assert claim not in words


def test_the_statement_says_in_plain_words_what_was_fitted_and_from_where_it_is_good():
    """LLF: 2.4 residual standard deviations in newtons; 400 of them is 1 part in 400 (ASTM E74)."""
    calibration = fit(UP_DOWN, degree=1).calibration
    slope, llf_n = calibration.curves[0].counts_per_newton, calibration.quality.llf_n
    words = calibration.statement.split("\n")
    assert words[0] == (
        f"{slope:.5g} counts per newton: a straight line through 10 points "
        "(1 more kept but voided)."
    )
    assert words[1].startswith("Good from 196.2 N to 392.4 N at the cells")
    assert (
        f"below {400 * llf_n:.4g} N, 400 times that, scatter alone is more than 1 part" in words[2]
    )
    assert "lower limit factor (LLF: 2.4 standard deviations" in words[2].lower().replace(
        "llf", "LLF"
    )
    bent = fit("load_n,response\n0,0\n100,1001\n200,2004\n400,4016\n", degree=2).calibration
    start, end = bent.curves[0].counts_per_newton, bent.curves[0].slope(400.0)
    assert bent.statement.startswith(
        f"{start:.5g} counts per newton at no load, {end:.5g} at 400 N: a curve of degree 2"
    )


def test_a_file_of_before_keeps_its_fingerprint_and_its_empty_key():
    """Each file of this form holds ``creep_percent``, which nothing ever filled."""
    calibration = fit(UP_DOWN).calibration
    held = json.loads(calibration.to_json())
    assert held["quality"]["creep_percent"] is None
    assert Calibration.from_json(calibration.to_json()) == calibration
    held["quality"]["creep_percent"] = 0.02
    with pytest.raises(InputFault, match="not usable"):
        Calibration.from_json(json.dumps(held))


def test_weights_nobody_knows_are_said_aloud():
    found = fit(UP_DOWN, weights=weights_known("unknown"), gravity=local_gravity(None))
    assert "within 5 %" in found.calibration.statement
    assert "not traceable" in found.calibration.statement
    percent = float(re.search(r"uncertainty ([\d.]+) %", found.calibration.statement)[1])
    assert percent == pytest.approx(5.7, abs=0.1)  # 1.96 x 5 % / sqrt 3


@pytest.mark.parametrize("how", ["", "M4", "5", "-1 %", "nan %", "1e9 %"])
def test_weights_known_in_no_way_we_know_are_refused(how):
    with pytest.raises(ValueError, match="M1, M2, M3"):
        weights_known(how)


def test_one_way_of_sharing_cannot_part_the_cells():
    text = "load_n,response_a,response_b\n0,0,0\n10,50,50\n20,100,100\n40,200,200\n30,150,150\n"
    message = refusal(text)
    assert message.startswith("w.csv:2: response_a: the weights were shared")
    assert fit(text, summed=True).fit.coefficients[1] == pytest.approx(10.0)


def test_a_calibration_takes_the_build_cells_and_signs_of_its_rig():
    rig = Rig(
        name="Rig B", build="4", link=Link(fields=("left", "right")),
        cells=(Cell("left", "left", 1000.0), Cell("right", "right", 1000.0, sign=-1)),
        lever=Lever("end", 402.0, 201.0), stop=Stop(6200.0, 5200.0), jack=Jack(4.0),
    )  # fmt: skip
    made = fit(UP_DOWN, rig=rig).calibration
    assert (made.rig_build, made.cells, made.signs) == ("4", ("left", "right"), (1, -1))
    assert Calibration.from_json(made.to_json()) == made
    text = (
        "load_n,response_left,response_front\n" + "0,0,0\n10,100,0\n10,0,100\n20,200,0\n20,0,200\n"
    )
    with pytest.raises(InputFault, match="is for the cells left, front, this rig has left, right"):
        fit(text, rig=rig)


def test_no_load_on_the_curve_gives_an_impossible_response():
    found = fit("load_n,response\n0,0\n10,100\n20,190\n30,270\n40,340\n", degree=2)
    assert invert(found.fit, 1e9).load != invert(found.fit, 1e9).load  # NaN
