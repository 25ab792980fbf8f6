"""Counts to specimen force: the ratio once, signs in the calibration, any split the same."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.faults import InputFault
from daq.force.calibration import ALL_CELLS, Calibration
from daq.force.calibration_text import read_calibration, write_calibration
from daq.force.curve import Curve
from daq.force.force_chain import ForceChain
from daq.force.zero import Zero
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop

LEVER = Lever(fulcrum="end", jack_arm_mm=402.0, specimen_arm_mm=201.0)


def rig(**changes) -> Rig:
    made = Rig(
        name="Rig B",
        build="4",
        link=Link(fields=("time_us", "left", "right")),
        cells=(
            Cell("left", "left", 1961.33, counts_per_newton=100.0),
            Cell("right", "right", 1961.33, sign=-1, counts_per_newton=50.0),
        ),
        lever=LEVER,
        stop=Stop(stop_n=6200.0, warn_n=5200.0),
        jack=Jack(lead_mm=4.0),
    )
    return replace(made, **changes)


def weighed(**changes) -> Calibration:
    made = Calibration(
        load_at="cells",
        cells=("left", "right"),
        signs=(1, 1),
        curves=(Curve((0.0, 100.0)),),
        verified_from_n=50.0,
        verified_to_n=400.0,
        rig_build="4",
    )
    return replace(made, **changes)


def chain(calibration: Calibration, zero=(1000.0, -2000.0)) -> ForceChain:
    return ForceChain(calibration, Zero(zero, (0.0, 0.0), (0.0, 0.0), 100), LEVER)


def test_slopes_signs_and_ratio_are_applied_once():
    forces = chain(Calibration.from_rig(rig())).forces(np.array([[11000, -7000]], dtype=np.int32))
    assert forces.cells_n.tolist() == [[100.0, 100.0]]
    assert forces.at_cells_n.tolist() == [200.0]
    assert forces.at_specimen_n.tolist() == [400.0]


def test_a_calibration_at_the_specimen_refuses_the_ratio():
    forces = chain(weighed(load_at="specimen"), (0.0, 0.0)).forces(np.array([[15000, 5000]]))
    assert forces.at_specimen_n.tolist() == [200.0]
    assert forces.at_cells_n.tolist() == [100.0]
    assert forces.cells_n.tolist() == [[75.0, 25.0]]


def test_a_sum_is_parted_by_the_share_of_counts():
    forces = chain(weighed(), (0.0, 0.0)).forces(np.array([[0, 0], [3000, 1000], [5000, -5000]]))
    assert forces.cells_n.tolist() == [[0.0, 0.0], [30.0, 10.0], [50.0, -50.0]]


def test_a_curved_sum_is_parted_by_the_share_of_counts():
    curve = Curve((0.0, 100.0, -0.001), up_to_n=400.0)
    forces = chain(weighed(curves=(curve,)), (0.0, 0.0)).forces(np.array([[0, 0], [30000, 9500]]))
    total = forces.at_cells_n[1]
    assert 100.0 * total - 0.001 * total**2 == pytest.approx(39500.0, rel=1e-14)
    assert forces.cells_n[1, 0] / total == pytest.approx(30000 / 39500, rel=1e-14)
    assert forces.cells_n[0].tolist() == [0.0, 0.0]


def test_beyond_the_verified_load_is_marked():
    forces = chain(weighed(), (0.0, 0.0)).forces(np.array([[20000, 20000], [20001, 20000]]))
    assert forces.extrapolated.tolist() == [False, True]
    unverified = chain(Calibration.from_rig(rig())).forces(np.zeros((2, 2), dtype=np.int32))
    assert unverified.extrapolated.tolist() == [True, True]


@pytest.mark.parametrize("curve", [Curve((0.0, 100.0)), Curve((5.0, 100.0, -0.01, 1e-6), 400.0)])
def test_any_split_into_blocks_gives_the_same_forces(curve):
    made = chain(weighed(curves=(curve,)))
    counts = np.random.default_rng(7).integers(-5000, 60000, (101, 2)).astype(np.int32)
    whole = made.forces(counts)
    rows = [made.forces(counts[i : i + 1]) for i in range(len(counts))]
    for name in ("cells_n", "at_cells_n", "at_specimen_n", "extrapolated"):
        assert np.array_equal(
            getattr(whole, name), np.concatenate([getattr(r, name) for r in rows])
        )


def test_the_words_tell_the_whole_way():
    made = chain(weighed(), (0.0, 0.0))
    assert made.words(np.array([120000, 98400])) == (
        "left 120000 + right 98400 counts -> 2184 N at the cells x 2.000 = 4368 N at the specimen"
    )
    there = chain(weighed(load_at="specimen"), (0.0, 0.0))
    assert "x 2.000" not in there.words(np.array([120000, 98400]))


def test_a_cell_without_calibration_says_how_to_get_one():
    bare = rig(cells=(Cell("left", "left", 1961.33),), path=Path("rig.toml"))
    with pytest.raises(InputFault, match=r"rig\.toml: cell left: has no calibration.*calibrate"):
        Calibration.from_rig(bare)


def test_a_calibration_file_comes_back_whole_and_is_never_replaced(tmp_path):
    file = tmp_path / "weights.json"
    made = weighed(curves=(Curve((1.5, 100.0, -0.001), up_to_n=400.0),), temperature_c=19.5)
    write_calibration(made, file)
    assert read_calibration(file) == made
    assert Calibration.from_rig(rig(calibration_file=file)).fingerprint == made.fingerprint
    before = file.read_bytes()
    with pytest.raises(InputFault, match="never replaced"):
        write_calibration(made, file)
    assert file.read_bytes() == before


def test_a_calibration_of_another_build_is_refused(tmp_path):
    file = tmp_path / "weights.json"
    write_calibration(weighed(rig_build="3"), file)
    with pytest.raises(InputFault, match='made on build "3", this rig is build "4"'):
        Calibration.from_rig(rig(calibration_file=file))


def test_a_file_changed_by_hand_or_foreign_is_refused():
    text = weighed().to_json()
    with pytest.raises(InputFault, match=r"w\.json: fingerprint: says"):
        Calibration.from_json(text.replace("400.0", "4000.0"), "w.json")
    for bad in ("", "{", "[1]", '{"form": "pullstand calibration 1"}', text.replace('"up"', "1")):
        if bad != text:
            with pytest.raises(InputFault, match=r"w\.json"):
                Calibration.from_json(bad, "w.json")


@pytest.mark.parametrize(
    ("sum_sign", "cell_signs", "expected"),
    [(1, (1, -1), (1, -1)), (-1, (1, 1), (-1, -1)), (-1, (-1, -1), (-1, -1)), (-1, (1,), (-1,))],
)
def test_the_sum_of_a_file_made_without_a_rig_takes_the_signs_of_the_rig(
    sum_sign, cell_signs, expected
):
    cells = tuple(Cell(f"c{i}", f"c{i}", 1000.0, sign=s) for i, s in enumerate(cell_signs))
    made = weighed(cells=ALL_CELLS, signs=(sum_sign,), rig_build="")
    assert made.bound_to(rig(cells=cells)).signs == expected


def test_a_zero_of_another_number_of_cells_is_refused():
    with pytest.raises(ValueError, match="a zero of 1 cells"):
        ForceChain(weighed(), Zero.none(1), LEVER)


def test_capacities_of_cells_and_noise_are_the_same_wherever_the_weights_hung():
    """One N at the specimen is half a newton at the jack at 2:1, so a cell's counts double."""
    at_cells, there = chain(weighed(), (0.0, 0.0)), chain(weighed(load_at="specimen"), (0.0, 0.0))
    assert at_cells.capacity_counts((2000.0, 1000.0)) == (200_000.0, 100_000.0)
    assert there.capacity_counts((2000.0, 1000.0)) == (400_000.0, 200_000.0)
    noisy = replace(Zero.none(2), counts=(70.0, -30.0), sd=(300.0, 400.0))
    assert ForceChain(weighed(), noisy, LEVER).noise_n == pytest.approx(10.0)
    assert ForceChain(weighed(load_at="specimen"), noisy, LEVER).noise_n == pytest.approx(5.0)
