"""The guided round of weights: what is next, when it is taken, signs, voids, drafts."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from daq.faults import InputFault
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.guided_weights import Guided, Plateau, answer, begin, look, take_as_it_is, void
from daq.force.points_file import read_points
from daq.force.weights import local_gravity, weight_force_n, weights_known
from daq.force.weights_draft import begin_draft, keep, points_text, raw_file, resume_draft
from daq.force.weights_plan import calibration_plan, check_plan, ratio_plan, read_masses
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop

RATE = 80.0
GAIN = np.array([2100.0, 1900.0])
ZERO = np.array([12_000.0, -7_000.0])


def a_rig(cells: int = 2, sign: int = 1) -> Rig:
    names = ("left", "right")[:cells]
    return Rig(
        name="test rig",
        build="7",
        link=Link(fields=names),
        cells=tuple(Cell(name, name, 2000.0, sign, 2000.0) for name in names),
        lever=Lever("end", 400.0, 200.0),
        stop=Stop(6000.0, 5000.0),
        jack=Jack(4.0),
    )


class Bench:
    """A person and a board in virtual time: each stay is a load on each cell, N."""

    def __init__(self, plan, signs=(1, 1), seed=1):
        self.state = begin(plan)
        self.rng = np.random.default_rng(seed)
        self.signs = np.array(signs[: len(plan.cells)])
        self.cells = len(plan.cells)
        self.counts = np.empty((0, self.cells), np.int32)
        self.seconds = np.empty(0)
        self.taken = []
        self.words = []

    def stay(self, loads_n, seconds: float, drift: float = 0.0):
        """Put a load on for so long; look ten times a second."""
        begins = self.seconds[-1] + 1 / RATE if len(self.seconds) else 0.0
        for k in range(round(seconds * 10)):
            n = round(RATE / 10)
            at = begins + (k * n + np.arange(n)) / RATE
            load = np.broadcast_to(loads_n, (self.cells,)) * (1.0 + drift * (at - begins)[:, None])
            counts = ZERO[: self.cells] + self.signs * GAIN[: self.cells] * load
            counts = np.rint(counts + self.rng.normal(0.0, 40.0, counts.shape)).astype(np.int32)
            self.counts = np.concatenate([self.counts, counts])[-1600:]
            self.seconds = np.concatenate([self.seconds, at])[-1600:]
            self.state, found = look(self.state, self.counts, self.seconds)
            self.words.append(found.words)
            if found.taken is not None:
                self.taken.append(found.taken)

    def follow(self, share=None):
        """Do what is asked, until all is done."""
        while (step := self.state.step) is not None and not self.state.question:
            load_n = weight_force_n(step.mass_kg, 9.80665)
            over = share or {"left": (0.9, 0.1), "right": (0.1, 0.9)}
            parts = np.array(over.get(step.cell, (0.57, 0.43))[: self.cells])
            parts = parts / parts.sum()
            self.stay(load_n * parts, 6.0)


def plan_of(masses="5 kg, 10 kg, 20 kg", series=2, rig=None, **more):
    settings = {"load_at": "cells", "known": "M1", "summed": False} | more
    return calibration_plan(rig or a_rig(), read_masses(masses), series, **settings)


def test_it_asks_for_nothing_then_up_then_down_over_each_cell_in_turn():
    steps = plan_of().steps
    assert [step.mass_kg for step in steps[:7]] == [0, 5, 10, 20, 10, 5, 0]
    assert [step.direction for step in steps[:7]] == ["up"] * 4 + ["down"] * 3
    assert {step.cell for step in steps[:7]} == {"left"}
    assert {step.cell for step in steps[7:]} == {"right"}
    assert steps[1].words == "5 kg on over cell left, placed gently, hands off"
    assert {step.cell for step in plan_of(summed=True).steps} == {""}
    assert {step.cell for step in plan_of(load_at="specimen").steps} == {""}


def test_a_round_taken_by_itself_gives_back_the_gains(tmp_path):
    draft = tmp_path / "weights.csv"
    bench = Bench(plan_of())
    begin_draft(draft, bench.state.plan)
    bench.follow()
    keep(draft, bench.state, None)
    assert bench.state.done
    gravity = replace(local_gravity(45.0), value_m_s2=9.80665)
    session = Session(weights_known("M1"), gravity, rig=a_rig())
    found = fit_calibration(read_points(draft, gravity), session)
    for gain, true in zip(found.gains, GAIN, strict=True):
        assert gain.counts_per_newton == pytest.approx(true, rel=5e-4)


@pytest.mark.parametrize(("cells", "summed"), [(1, False), (2, True)])
def test_one_cell_and_the_sum_of_two_give_one_slope(cells, summed, tmp_path):
    draft = tmp_path / "weights.csv"
    rig = a_rig(cells)
    bench = Bench(plan_of(rig=rig, summed=summed))
    begin_draft(draft, bench.state.plan)
    bench.follow()
    keep(draft, bench.state, None)
    gravity = replace(local_gravity(45.0), value_m_s2=9.80665)
    session = Session(weights_known("M1"), gravity, rig=rig, summed=summed)
    found = fit_calibration(read_points(draft, gravity), session)
    shares = np.array([0.57, 0.43])[:cells] / np.array([0.57, 0.43])[:cells].sum()
    assert found.calibration.cells == tuple(cell.name for cell in rig.cells)
    assert found.fit.coefficients[1] == pytest.approx(GAIN[:cells] @ shares, rel=5e-4)


def test_zeros_that_move_between_the_rounds_do_not_pass_for_a_gain(tmp_path):
    draft = tmp_path / "weights.csv"
    text = "mass_kg,response_a,response_b,series\n"
    for name, over, moved in (("1", 0.9, 0.0), ("2", 0.1, 4000.0)):
        for kg in (0, 5, 10, 20, 10, 5, 0):
            force_n = weight_force_n(kg, 9.80665)
            a, b = 2000.0 * over * force_n + moved, 2000.0 * (1 - over) * force_n - 2.0 * moved
            text += f"{kg},{a:.2f},{b:.2f},{name}\n"
    draft.write_text(text)
    gravity = local_gravity(None)
    found = fit_calibration(read_points(draft, gravity), Session(weights_known("M1"), gravity))
    assert [gain.counts_per_newton for gain in found.gains] == pytest.approx([2000.0] * 2, rel=1e-6)


def test_nothing_is_taken_while_it_drifts_or_swings():
    bench = Bench(plan_of())
    bench.stay((100.0, 100.0), 8.0, drift=0.01)
    assert not bench.taken
    assert "not steady: drift" in bench.words[-1]
    bench.stay((0.0, 0.0), 3.0)
    assert not bench.taken
    bench.stay((0.0, 0.0), 3.0)
    assert len(bench.taken) == 1
    assert "steady: drift" in bench.taken[0].words


def test_the_raw_stretch_begins_after_the_step_before():
    bench = Bench(plan_of())
    bench.follow()
    ends = [stretch.seconds[-1] for stretch in bench.taken]
    begins = [stretch.seconds[0] for stretch in bench.taken]
    assert all(begin > end for begin, end in zip(begins[1:], ends, strict=False))
    assert all(stretch.counts.shape == (len(stretch.seconds), 2) for stretch in bench.taken)


def test_a_board_that_is_back_goes_on_with_the_round():
    """Its clock begins anew: what comes is not older than the last point."""
    bench = Bench(plan_of())
    bench.stay(0.0, 30.0)
    assert len(bench.state.points) == 1
    bench.counts, bench.seconds = bench.counts[:0], bench.seconds[:0]
    bench.stay(24.5, 6.0)
    assert len(bench.state.points) == 2


def test_it_waits_for_the_weight_and_tells_a_wrong_one():
    bench = Bench(plan_of())
    bench.stay(0.0, 12.0)
    assert len(bench.state.points) == 1
    assert bench.words[-1].startswith("waiting: 5 kg on over cell left")
    bench.stay((44.1, 4.9), 6.0)
    assert len(bench.state.points) == 2
    bench.stay((44.1 * 4, 4.9 * 4), 8.0)  # 20 kg where 10 kg is due
    assert len(bench.state.points) == 2
    assert "moved by about +15" in bench.words[-1]
    assert "+5 kg was due" in bench.words[-1]
    bench.state = take_as_it_is(bench.state)
    bench.stay((44.1 * 4, 4.9 * 4), 1.0)
    assert len(bench.state.points) == 3


def test_a_weight_over_the_wrong_cell_is_told():
    bench = Bench(plan_of())
    bench.stay(0.0, 6.0)
    bench.stay((4.9, 44.1), 8.0)
    assert len(bench.state.points) == 1
    assert "most of it lies over cell right: move it over left" in bench.words[-1]
    bench.stay((44.1, 4.9), 6.0)
    assert len(bench.state.points) == 2


def test_a_cell_that_falls_is_asked_about_once():
    bench = Bench(plan_of(), signs=(-1, 1))
    bench.follow()
    assert bench.state.question.startswith("left: the reading fell")
    before = bench.state
    bench.stay((44.1, 4.9), 6.0)
    assert bench.state == before  # nothing goes on until a word is given
    assert answer(bench.state, yes=False).refused
    bench.state = answer(bench.state, yes=True)
    bench.follow()
    assert bench.state.done
    assert bench.state.reversed_cells == frozenset({0})


def test_a_sign_that_the_rig_file_knows_is_not_asked_about():
    bench = Bench(plan_of(rig=a_rig(sign=-1)), signs=(-1, -1))
    bench.follow()
    assert bench.state.done


def test_a_void_point_is_kept_and_asked_for_again():
    bench = Bench(plan_of())
    bench.stay(0.0, 6.0)
    bench.stay((44.1, 4.9), 6.0)
    bench.state = void(bench.state, 2, "leaned on\nthe rig")
    assert bench.state.points[1].void == "leaned on the rig"
    assert bench.state.step == bench.state.points[1].step
    bench.stay((44.1, 4.9), 6.0)
    assert len(bench.state.points) == 3
    for number, reason in ((1, "  "), (9, "no such point")):
        with pytest.raises(ValueError, match=r"reason|no point"):
            void(bench.state, number, reason)


def drafted(path: Path, upto: int) -> Guided:
    """A draft of the first ``upto`` points, written as they come."""
    bench = Bench(plan_of())
    begin_draft(path, bench.state.plan)
    for _ in range(upto):
        step = bench.state.step
        before = len(bench.taken)
        load_n = weight_force_n(step.mass_kg, 9.80665)
        bench.stay((0.9 * load_n, 0.1 * load_n), 6.0)
        assert len(bench.taken) == before + 1
        keep(path, bench.state, bench.taken[-1])
    return bench.state


def test_a_draft_goes_on_where_it_stopped(tmp_path):
    path = tmp_path / "weights.csv"
    state = drafted(path, 4)
    again = resume_draft(path)
    assert again.points == state.points
    assert again.step == state.step
    assert again.plan == state.plan
    voided = void(state, 4, "wrong weight")
    keep(path, voided, None)
    assert resume_draft(path).step == state.points[3].step
    assert read_points(path, local_gravity(None)).points[3].void == "wrong weight"


def test_each_raw_stretch_is_kept_beside_its_point(tmp_path):
    path = tmp_path / "weights.csv"
    state = drafted(path, 3)
    kept = [json.loads(line) for line in raw_file(path).read_text().splitlines()][1:]
    assert [each["point"] for each in kept] == [1, 2, 3]
    for each, point in zip(kept, state.points, strict=True):
        assert np.mean(each["counts"], axis=0) == pytest.approx(point.counts, abs=0.01)
        assert len(each["seconds"]) == len(each["counts"]) > 200


def test_a_draft_that_was_cut_short_while_writing_goes_on(tmp_path):
    path = tmp_path / "weights.csv"
    drafted(path, 3)
    file = raw_file(path)
    whole = file.read_text()
    file.write_text(whole[: len(whole) - 40])  # the point itself is in the points file
    state = resume_draft(path)
    assert len(state.points) == 3
    path.with_name(f".{path.name}.new").write_text("mass_kg,resp")  # killed before the swap
    keep(path, state, None)
    assert len(resume_draft(path).points) == 3


def test_a_draft_is_never_begun_over_a_file(tmp_path):
    path = tmp_path / "weights.csv"
    path.write_text("mine")
    with pytest.raises(InputFault, match="never replaced"):
        begin_draft(path, plan_of())
    assert path.read_text() == "mine"


def test_a_draft_with_rows_of_another_order_is_refused_with_its_line(tmp_path):
    path = tmp_path / "weights.csv"
    drafted(path, 3)
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:4], lines[5].replace(",up,", ",down,")]) + "\n")
    with pytest.raises(InputFault, match=r"weights\.csv:5: series"):
        resume_draft(path)


@pytest.mark.parametrize(
    ("masses", "words"),
    [
        ("0, 5, 10", "unit"),
        ("5 kg", "one weight cannot show its own error"),
        ("10 kg, 10 kg", "there twice"),
        ("", "one weight cannot show"),
        ("5 kg, 10 N", "10 N"),
        ("5 kg, 300 kg", "more than cell left may carry"),
        ("-5 kg, 10 kg", "-5 kg"),
    ],
)
def test_weights_that_make_no_calibration_are_refused(masses, words):
    with pytest.raises(InputFault, match=words):
        plan_of(masses)


def test_pounds_serve_and_the_lightest_comes_first():
    (first, kg), (second, _) = read_masses("10 kg, 10 lb")
    assert (first, second) == ("10 lb", "10 kg")
    assert kg == pytest.approx(4.5359237)


def test_one_bucket_at_two_places():
    bench = Bench(ratio_plan(a_rig()))
    for load_n in (0.0, 70.0, 0.0, 35.0, 0.0):
        bench.stay(load_n, 7.0)
    assert bench.state.done
    sums = [sum(np.array(point.counts) - ZERO) for point in bench.state.points]
    assert sums[1] / sums[3] == pytest.approx(2.0, rel=1e-3)


def test_the_check_weight_is_one_up_and_down():
    plan = check_plan(a_rig(), ("10 kg", 10.0), "cells", "M1")
    assert [step.mass_kg for step in plan.steps] == [0.0, 10.0, 0.0]


def test_a_points_file_is_no_formula_to_a_spreadsheet():
    """OWASP, "CSV Injection": a cell that begins with = runs, also one behind a comma of a note."""
    state = begin(replace(plan_of(), known="M2,=1+1"))
    state = replace(state, points=(Plateau(state.plan.steps[0], (1.0, 2.0), "=1+1, fell off"),))
    text = points_text(state)
    cells = [cell for row in csv.reader(text.splitlines()) for cell in row]
    assert "'=1+1, fell off" in cells
    assert not any(cell.startswith(("=", "+", "@")) for cell in cells)
