"""Reduction beside the truth of simulated pulls of every scenario: kind, maximum, yield, cracks.

The rules were tuned on seeds below 60; these pulls begin at FIRST_SEED and were never tuned on.
"""

import math
import multiprocessing
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.pull_curve import pull_curve
from analysis.reduction import reduce_curve
from benchmarks.table import Row, print_rows
from daq.force.calibration import Calibration
from daq.force.zero import take_zero
from daq.record.reader import Recording
from daq.rig.rig_file import read_rig
from daq.run_header import run_header, zero_record
from daq.samples import sample_dtype
from daq.wall_anchor import WallAnchor
from simulators.scenario import scenario_names
from simulators.simulation import Simulation, simulate

FIRST_SEED = 1000
SEEDS = 60  # of each scenario: 420 pulls
PROCESSES = 2
YIELD_WITHIN = 0.02  # of the maximum
CRACK_WITHIN_S = 0.3
LATE_NS = 1_000_000


@dataclass(frozen=True, slots=True)
class Seen:
    """One pull: what was right, and how far off."""

    scenario: str
    kind: bool
    mode: bool
    maximum_error: float
    covered: bool  # the true maximum lies within U95
    yields: str  # "hit", "off", "missed", "none", "false"
    cracks: int
    cracks_found: int
    cracks_false: int


def run() -> list[Row]:
    """Simulate, reduce and count."""
    work = [(name, seed) for seed in range(FIRST_SEED, FIRST_SEED + SEEDS) for name in names()]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(PROCESSES, mp_context=context) as pool:
        seen = list(pool.map(look, work, chunksize=7))
    return rows(seen)


def names() -> tuple[str, ...]:
    """Return the scenarios."""
    return scenario_names()


def rows(seen: list[Seen]) -> list[Row]:
    """Return the figures as rows."""
    yields = Counter(each.yields for each in seen)
    with_yield = yields["hit"] + yields["off"] + yields["missed"]
    without = yields["none"] + yields["false"]
    cracks = sum(each.cracks for each in seen)
    found = sum(each.cracks_found for each in seen)
    false = sum(each.cracks_false for each in seen)
    worst = max(abs(each.maximum_error) for each in seen)
    count = f"{len(seen)} pulls"
    return [
        _share("reduction: kind right", sum(e.kind for e in seen), len(seen), ">= 98 %", count),
        _share("reduction: proposed mode right", sum(e.mode for e in seen), len(seen), "", count),
        Row("reduction: largest error of the maximum", f"{100 * worst:.2f} %", goal="< 1 %"),
        _share("reduction: true maximum within U95", sum(e.covered for e in seen), len(seen), ""),
        _share(
            "reduction: yield within 2 % of the maximum",
            yields["hit"],
            with_yield,
            ">= 95 %",
            f"{yields['off']} off, {yields['missed']} not seen",
        ),
        _share("reduction: no yield where there is none", yields["none"], without, ""),
        _share("reduction: cracks found", found, cracks, ">= 90 %"),
        _share("reduction: false among the cracks told", false, found + false, "< 5 %"),
    ]


def _share(name: str, part: int, whole: int, goal: str, note: str = "") -> Row:
    ratio = part / max(whole, 1)
    return Row(name, f"{100 * ratio:.1f} %", f"{part} of {whole}", ratio, goal, note)


def look(work: tuple[str, int]) -> Seen:
    """Simulate one pull, reduce it, compare."""
    name, seed = work
    simulation = simulate(name, seed)
    recording = recording_of(simulation)
    curve = pull_curve(recording)
    result, _ = reduce_curve(curve, recording, recording.path)
    true = simulation.truth.pulls[0]
    told_s = [mark.seconds + simulation.board_us[0] / 1e6 for mark in curve.crack_marks]
    found = 0
    for crack in true.cracks:
        near = [at for at in told_s if abs(at - crack.time_s) < CRACK_WITHIN_S]
        if near:
            told_s.remove(near[0])
            found += 1
    return Seen(
        name,
        result.kind.value == true.kind,
        result.proposed_mode == true.mode,
        result.max_force_n / true.max_force_n - 1.0,
        abs(result.max_force_n - true.max_force_n) <= result.U95_max_force_n,
        _yields(result.yield_force_n, true.yield_force_n, true.max_force_n),
        len(true.cracks),
        found,
        len(told_s),
    )


def _yields(told_n: float, true_n: float, maximum_n: float) -> str:
    if math.isnan(true_n):
        return "none" if math.isnan(told_n) else "false"
    if math.isnan(told_n):
        return "missed"
    return "hit" if abs(told_n - true_n) < YIELD_WITHIN * maximum_n else "off"


def recording_of(simulation: Simulation) -> Recording:
    """Return a simulated pull as its recording would be read: zeroed before and after, complete."""
    rig = read_rig(Path(simulation.rig.file))
    calibration, anchor = Calibration.from_rig(rig), WallAnchor.now()
    samples = np.zeros(simulation.samples, dtype=sample_dtype(len(rig.cells)))
    samples["index"] = np.arange(simulation.samples)
    samples["board_us"] = simulation.board_us
    samples["arrival_ns"] = np.round(simulation.time_s * 1e9) + LATE_NS
    samples["counts"] = simulation.counts
    quiet, after = slice(50, 400), slice(-300, None)
    before, later = (
        take_zero(simulation.counts[part], simulation.time_s[part]) for part in (quiet, after)
    )
    header = run_header(
        rig,
        calibration,
        anchor,
        started_ns=0,
        pull_number=1,
        zero_before=before,
        specimen={"label": f"{simulation.truth.scenario}-{simulation.truth.seed}"},
        session={"data": "invented, simulated"},
        has_board_clock=True,
    )
    return Recording(
        path=Path(f"{header.label}.h5"),
        header=header,
        samples=samples,
        events=(),
        events_not_kept=0,
        result={},
        zero_after=zero_record(later, anchor),
        history=(),
        complete=True,
        cut_short="",
    )


if __name__ == "__main__":
    print_rows(run())
