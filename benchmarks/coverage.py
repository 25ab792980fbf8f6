"""Does the 95 % interval hold? Hidden rig errors, drawn from what the rig says of itself.

Each trial is a rig of its own: true arms, tilt, contact, pin friction, cell gains, how the cells
bend beyond the weights, the weights' own error and gravity are drawn from the uncertainties stated
in the rig file and the calibration. The trial is calibrated with simulated weights, pulls once, and
is reduced by the same functions as any recording, which know the stated rig only. Counted is how
often the budget's interval holds the true maximum, which only the simulator knows.

Not drawn: the beam's weight at another tilt (some tenths of a newton on these rigs).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from analysis.reduction import pull_curve, reduce_curve
from benchmarks.table import Row
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.lever import contact_effect_rel, friction_loss_rel, ratio_at_tilt
from daq.force.points_file import parse_points
from daq.force.weights import CLASSES, class_limit_rel, local_gravity, weights_known
from daq.force.zero import take_zero
from daq.record.header import ZeroRecord
from daq.record.reader import Recording
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig_text
from daq.run_header import run_header, zero_record
from daq.samples import sample_dtype
from daq.wall_anchor import WallAnchor
from simulators.scenario import Range, load_scenario
from simulators.simulated_rig import DEMO_RIG_FILE, load_simulated_rig
from simulators.simulation import Simulation, simulate
from simulators.weights import WeightsOrder, simulate_weights

TRIALS = 300  # of each rig
MASSES_KG = (10.0, 20.0, 40.0)
LATITUDE = 45.507  # where gravity is the simulator's
CELL_BEND = 0.001  # how far a shop-grade cell bends, of its capacity, as the budget takes it
SEED = 20310504
ANCHOR = WallAnchor(datetime(2031, 5, 4, 12, 0, tzinfo=UTC), 0)

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stated:
    """A rig as its owner states it, and how the weights are known."""

    name: str
    changes: tuple[tuple[str, str], ...]
    weights: str
    scenario: str

    def rig(self) -> Rig:
        """Return the rig that the file states."""
        text = DEMO_RIG_FILE.read_text(encoding="utf-8")
        for old, new in self.changes:
            assert old in text, old
            text = text.replace(old, new)
        return read_rig_text(text, self.name)


RIGS = (
    Stated("bearings, weights of class M2", (), "M2", "hardwood-withdrawal"),
    Stated(
        "plain pins off the line, weighed weights",
        (
            ("pin_friction = 0.002", "pin_friction = 0.1"),
            ('pin_radius = "8 mm"', 'pin_radius = "6 mm"\nspecimen_pin_offset = "15 mm"'),
            ('contact = "pin"', 'contact = "rounded"'),
        ),
        "0.3 %",
        "softwood-withdrawal",
    ),
)


@dataclass(frozen=True, slots=True)
class Truth:
    """What a trial's rig really is: counts/N of the cells, their bend, ratio, friction, weights."""

    gains: tuple[float, ...]
    bend: float
    ratio: float
    friction: float
    weights: float


@dataclass(frozen=True, slots=True)
class Trial:
    """How one pull came out, N."""

    true_n: float
    shown_n: float
    low_n: float
    high_n: float
    U95_n: float

    @property
    def covered(self) -> bool:
        """Whether the interval about the best estimate holds the true maximum."""
        return self.low_n <= self.true_n <= self.high_n

    @property
    def within_u95(self) -> bool:
        """Whether the true maximum lies within U95 of the force shown."""
        return abs(self.true_n - self.shown_n) <= self.U95_n


def draw_truth(stated: Stated, rig: Rig, rng: np.random.Generator) -> Truth:
    """Draw a rig from what is stated: normal and rectangular as the budget has them."""
    lever = rig.lever
    true_lever = replace(
        lever,
        jack_arm_mm=lever.jack_arm_mm + rng.normal(0.0, lever.arm_uncertainty_mm),
        specimen_arm_mm=lever.specimen_arm_mm + rng.normal(0.0, lever.arm_uncertainty_mm),
    )
    tilt = rng.uniform(-lever.max_tilt_deg, lever.max_tilt_deg)
    contact = contact_effect_rel(lever) * rng.uniform(-1.0, 1.0)
    loss = friction_loss_rel(lever) * rng.uniform(0.0, 2.0)
    gravity = local_gravity(LATITUDE)
    known = weights_known(stated.weights)
    off = rng.normal(0.0, known.u_rel)
    if stated.weights in CLASSES:
        off = class_limit_rel(stated.weights) * rng.uniform(-1.0, 1.0)
    return Truth(
        gains=tuple(
            (cell.counts_per_newton or math.nan) * (1.0 + rng.uniform(-0.03, 0.03))
            for cell in rig.cells
        ),
        bend=CELL_BEND * rng.uniform(-1.0, 1.0),
        ratio=float(ratio_at_tilt(true_lever, tilt)) / (1.0 + contact),
        friction=loss / (1.0 - loss),
        weights=(1.0 + off) * (1.0 + rng.normal(0.0, gravity.u_rel)),
    )


def run_trial(stated: Stated, rig: Rig, seed: int) -> Trial:
    """Calibrate, pull once, reduce."""
    truth = draw_truth(stated, rig, np.random.default_rng([SEED, seed]))
    calibration = calibrated(stated, rig, truth, seed)
    simulation = pulled(stated, rig, truth, seed)
    recording = recorded(rig, calibration, simulation, truth)
    result, budget = reduce_curve(pull_curve(recording), recording, recording.path)
    assert budget is not None
    true_n = simulation.truth.pulls[0].max_force_n
    return Trial(true_n, result.max_force_n, budget.low_n, budget.high_n, result.U95_max_force_n)


def calibrated(stated: Stated, rig: Rig, truth: Truth, seed: int) -> Calibration:
    """Return the calibration that weights on the true cells give."""
    order = WeightsOrder(tuple(kg * truth.weights for kg in MASSES_KG), gain_error=0.0)
    true_rig = replace(load_simulated_rig(), counts_per_newton=truth.gains)
    simulation = simulate_weights(order, seed, true_rig)
    counts = bent(simulation, rig, truth)
    lines = ["mass_kg,response_left,response_right,direction,series"]
    for name, kg, way, ends_s in stays(simulation):
        at = (simulation.time_s > ends_s - 4.5) & (simulation.time_s < ends_s - 0.5)
        left, right = counts[at].mean(axis=0)
        lines.append(f"{kg:g},{left:.2f},{right:.2f},{way},{name}")
    gravity = local_gravity(LATITUDE)
    session = Session(weights_known(stated.weights), gravity, made_on="2031-05-04", rig=rig)
    return fit_calibration(parse_points("\n".join(lines), "weights", gravity), session).calibration


def stays(simulation: Simulation) -> Iterator[tuple[str, float, str, float]]:
    """Yield round, nominal kg, way and end (s) of every stay, the zeros included."""
    weights = simulation.truth.weights
    each, masses = len(weights) // 2, len(MASSES_KG)
    stay_s = weights[0].ends_s - weights[0].begins_s
    for number in range(2):
        own = weights[number * each : (number + 1) * each]
        yield str(number + 1), 0.0, "up", own[0].begins_s
        for place, weight in enumerate(own):
            kg = MASSES_KG[place] if place < masses else MASSES_KG[2 * masses - 2 - place]
            way = "up" if place < masses else "down"
            yield str(number + 1), kg, way, weight.ends_s
        yield str(number + 1), 0.0, "down", own[-1].ends_s + stay_s


def pulled(stated: Stated, rig: Rig, truth: Truth, seed: int) -> Simulation:
    """Return one pull on the true rig."""
    scenario = load_scenario(stated.scenario)
    friction = Range(truth.friction, truth.friction)
    scenario = replace(scenario, rig=replace(scenario.rig, pin_friction_share=friction))
    true_rig = replace(load_simulated_rig(), ratio=truth.ratio, counts_per_newton=truth.gains)
    return simulate(scenario, seed, 1, true_rig)


def bent(simulation: Simulation, rig: Rig, truth: Truth) -> Floats:
    """Return counts (n, cells) of cells that bend off a line as they are loaded."""
    zero = np.array(simulation.truth.zero_counts)
    net = simulation.counts - zero
    capacity = np.array(truth.gains) * np.array([cell.capacity_n for cell in rig.cells])
    bend: Floats = np.rint(zero + net * (1.0 + 4.0 * truth.bend * net / capacity))
    return bend


def recorded(rig: Rig, calibration: Calibration, simulation: Simulation, truth: Truth) -> Recording:
    """Return the pull as a recording, its zeros taken before and after."""
    samples = np.zeros(simulation.samples, dtype=sample_dtype(len(rig.cells)))
    samples["index"] = np.arange(simulation.samples)
    samples["board_us"] = simulation.board_us
    samples["arrival_ns"] = simulation.board_us.astype(np.int64) * 1000
    samples["counts"] = bent(simulation, rig, truth)
    seconds = simulation.time_s
    before = seconds < 5.0
    after = seconds > seconds[-1] - 2.0
    zeros = [take_zero(samples["counts"][at][-190:], seconds[at][-190:]) for at in (before, after)]
    header = run_header(
        rig,
        calibration,
        ANCHOR,
        started_ns=0,
        pull_number=1,
        zero_before=zeros[0],
        specimen={},
        session={},
        has_board_clock=True,
    )
    closing: ZeroRecord | None = zero_record(zeros[1], ANCHOR)
    return Recording(
        Path("coverage.h5"), header, samples, (), 0, {}, closing, (), complete=True, cut_short=""
    )


def trials(stated: Stated, count: int = TRIALS) -> list[Trial]:
    """Run trials of one rig; the same count gives the same trials."""
    rig = stated.rig()
    return [run_trial(stated, rig, seed) for seed in range(count)]


def row(name: str, found: list[Trial]) -> Row:
    """Return the figures of trials as a row of the table."""
    covered = sum(trial.covered for trial in found) / len(found)
    about = math.sqrt(0.95 * 0.05 / len(found))
    within = sum(trial.within_u95 for trial in found) / len(found)
    u95 = np.mean([trial.U95_n / trial.shown_n for trial in found])
    off = np.mean([trial.shown_n / trial.true_n - 1.0 for trial in found])
    return Row(
        name=f"true maximum within the 95 % interval: {name}",
        ours=f"{100.0 * covered:.1f} % of {len(found)} pulls",
        other=f"95 % (chance alone: +-{196.0 * about:.1f} %)",
        goal="93 to 97 %",
        note=f"within shown +- U95 {100.0 * within:.1f} %; U95 {100.0 * u95:.2f} % of the maximum; "
        f"shown {100.0 * off:+.2f} % off on average",
    )


def run(count: int = TRIALS) -> list[Row]:
    """Return a row for each rig, and one for all of them."""
    found = {stated.name: trials(stated, count) for stated in RIGS}
    every = [trial for each in found.values() for trial in each]
    return [*(row(name, each) for name, each in found.items()), row("all", every)]
