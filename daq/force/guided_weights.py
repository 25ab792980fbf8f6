"""Known weights put on one after the other: what comes next, and when a plateau may be taken.

A fold: `look` is told the latest counts and returns the new state and what to say. It takes a
plateau by itself, once it is steady and is what the weight should give. Nothing here knows a
screen, a file or a clock.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from daq.force.lever import LoadAt
from daq.force.steady import Steadiness, latest_plateau
from daq.samples import COUNTS_MAX, COUNTS_MIN, CountArray, FloatArray
from daq.units import STANDARD_GRAVITY_M_S2

WINDOW_S = 4.0
#: What a plateau may drift, of what the heaviest weight gives (common practice, no source), or as
#: much as noise makes of no drift at all: so many standard errors of the slope.
DRIFT = 0.0005
CHANCE = 2.0
#: Once the scatter at rest is known: no more than this many times it, or this part of what the
#: heaviest weight gives. A weight that still swings scatters more.
REST_NOISE = 1.5
SWING = 0.001
#: How far a step may lie from what the weights before it promise, of the step.
UNEXPECTED = 0.3
#: A first weight must move the reading by this part of what a usual cell gives for it.
FIRST_MOVE = 0.1
LIGHTEST_BUCKET_N = 20.0
#: A cell that falls by more than this part of the largest change is loaded, and reversed.
FELL = 0.2
FORCE_IT = "Enter: take it as it is"


@dataclass(frozen=True, slots=True)
class Step:
    """One weight to put on; ``mass_kg`` None: a bucket of unknown mass."""

    mass_kg: float | None
    typed: str
    direction: str = ""  # "up" or "down"
    series: str = "1"
    spot: str = ""  # where it goes, in words; "" where there is only one place
    cell: str = ""  # the cell it goes over, where it goes over one of several

    @property
    def round_words(self) -> str:
        """ ", round 2" where rounds are counted, "" where each step stands for itself."""
        return f", round {self.series}" if self.series.isdigit() else ""

    @property
    def words(self) -> str:
        """What the person at the rig is to do."""
        if self.mass_kg == 0.0:
            return "nothing on, hands off"
        spot = f"over cell {self.cell}" if self.cell else self.spot
        where = f" {spot}" if spot else ""
        return f"{self.typed} on{where}, placed gently, hands off"


@dataclass(frozen=True, slots=True)
class WeightsPlan:
    """Every step, and what is known beforehand of the cells (one entry each)."""

    steps: tuple[Step, ...]
    cells: tuple[str, ...]
    counts_per_newton: tuple[float, ...]  # about, of a load where the weights go
    signs: tuple[int, ...]  # of the rig file; -1 where a reversed cell is known
    noise_allowed: tuple[float, ...]  # counts; of the first plateau, before any weight
    load_at: LoadAt = "cells"
    build: str = ""
    known: str = "unknown"  # how well: M1, M2, M3, "0.1 %", unknown

    @property
    def heaviest_n(self) -> float:
        """The largest load, about."""
        masses = [step.mass_kg for step in self.steps if step.mass_kg]
        return max(masses, default=LIGHTEST_BUCKET_N / 9.8) * STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The raw counts (n, cells) behind a plateau, their seconds (n,), and how they were judged."""

    counts: CountArray
    seconds: FloatArray
    words: str


@dataclass(frozen=True, slots=True)
class Plateau:
    """One weight taken: mean counts of each cell; kept for ever, voided with a reason."""

    step: Step
    counts: tuple[float, ...]
    void: str = ""


@dataclass(frozen=True, slots=True)
class Guided:
    """Where a round of weights stands."""

    plan: WeightsPlan
    points: tuple[Plateau, ...] = ()
    since_s: float = -math.inf  # samples before this belong to the step before
    reversed_cells: frozenset[int] = frozenset()  # agreed to fall under load
    asked: frozenset[int] = frozenset()  # waiting for a word about these
    refused: bool = False  # the person said: the sign is not right
    rest_noise: tuple[float, ...] = ()  # scatter of each cell at the first plateau of this sitting
    as_it_is: bool = False  # the person said: take the next steady reading whatever it is

    @property
    def step(self) -> Step | None:
        """What to put on next; None when all is done."""
        steps = self.plan.steps
        if not self.points:
            return steps[0]
        last = self.points[-1]
        at = steps.index(last.step) + (0 if last.void else 1)
        return steps[at] if at < len(steps) else None

    @property
    def done(self) -> bool:
        """Whether every step has its plateau."""
        return self.step is None

    @property
    def valid(self) -> tuple[Plateau, ...]:
        """The plateaus that count."""
        return tuple(point for point in self.points if not point.void)

    @property
    def signs(self) -> FloatArray:
        """+1 or -1 per cell, as agreed so far."""
        cells = range(len(self.plan.cells))
        return np.array([-1.0 if i in self.reversed_cells else 1.0 for i in cells])

    @property
    def question(self) -> str:
        """What the person must say before anything goes on; "" for nothing."""
        if not self.asked:
            return ""
        names = ", ".join(self.plan.cells[i] for i in sorted(self.asked))
        return f"{names}: the reading fell under the load. Keep it as wired the other way round?"


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What one look came to: the worst cell's steadiness, words, and the stretch if one was taken.

    ``may_force``: it is steady, but not what was due; the person may have it taken all the same.
    """

    words: str
    steadiness: Steadiness | None = None
    taken: Stretch | None = None
    may_force: bool = False

    @property
    def settled(self) -> float:
        """How near to steady, 0 to 1: by time first, then by the worse of drift and noise."""
        found = self.steadiness
        if found is None or not found.samples:
            return 0.0
        if not found.long_enough:
            return 0.5 * min(1.0, found.seconds / found.least_seconds)
        worst = _how_far(found)
        return 1.0 if worst <= 1.0 else 0.5 + 0.5 / worst


def begin(plan: WeightsPlan, points: tuple[Plateau, ...] = ()) -> Guided:
    """Return the state before the first look; ``points`` of a draft go on where it stopped."""
    known = frozenset(i for i, sign in enumerate(plan.signs) if sign < 0)
    for end in range(len(points)):  # what came after a question shows that it was answered
        known |= _fallen(points[:end])
    return Guided(plan, points, reversed_cells=known, asked=_fallen(points) - known)


def calibration_steps(
    weights: tuple[tuple[str, float], ...], series: int, cells: tuple[str, ...] = ()
) -> tuple[Step, ...]:
    """Return 0, up, and down again to 0, ``series`` times; each series over the next of ``cells``.

    ``weights`` are (as typed, kg), rising, without the zero.
    """
    steps: list[Step] = []
    for number in range(series):
        cell = cells[number % len(cells)] if cells else ""
        name = str(number + 1)
        up = [("0 kg", 0.0), *weights]
        steps += [Step(kg, typed, "up", name, cell=cell) for typed, kg in up]
        steps += [Step(kg, typed, "down", name, cell=cell) for typed, kg in reversed(up[:-1])]
    return tuple(steps)


def ratio_steps() -> tuple[Step, ...]:
    """Return the two places of one bucket, with a zero before, between and after."""
    bucket = "the bucket"
    return (
        Step(0.0, "nothing", series="zero before"),
        Step(None, bucket, series="jack", spot="in line with the jack"),
        Step(0.0, "nothing", series="zero between"),
        Step(None, bucket, series="specimen", spot="at the specimen pin"),
        Step(0.0, "nothing", series="zero after"),
    )


def look(state: Guided, counts: CountArray, seconds: FloatArray) -> tuple[Guided, Look]:
    """Judge the latest counts (n, cells) at ``seconds`` (n,); take the plateau if it may be."""
    step = state.step
    if state.question or step is None:
        return state, Look(state.question or "all weights are taken")
    if len(seconds) and seconds[-1] < state.since_s:  # the board is back: its clock began anew
        state = replace(state, since_s=-math.inf)
    recent = seconds > state.since_s
    counts, seconds = counts[recent], seconds[recent]
    cells = _each_cell(state, counts, seconds)
    found = max(cells, key=_how_far)
    if not found.steady:
        return state, Look(_told(state, found), found)
    window = seconds >= seconds[-1] - WINDOW_S
    counts, seconds = counts[window], seconds[window]
    if counts.max() >= COUNTS_MAX or counts.min() <= COUNTS_MIN:
        return state, Look("a converter stands at its end: look at the plug, take weight off")
    means = counts.mean(axis=0)
    unexpected = "" if state.as_it_is else _unexpected(state, step, means, found.noise)
    if unexpected:
        return state, Look(unexpected, found, may_force=True)
    point = Plateau(step, tuple(float(round(mean, 2)) for mean in means))
    after = replace(
        state,
        points=(*state.points, point),
        since_s=float(seconds[-1]),
        rest_noise=state.rest_noise or tuple(cell.noise for cell in cells),
        as_it_is=False,
    )
    fallen = _fallen(after.points) - state.reversed_cells
    after = replace(after, asked=fallen)
    words = _told(state, found)
    return after, Look(words, found, Stretch(counts, seconds, words))


def answer(state: Guided, yes: bool) -> Guided:
    """Return the state after the person's word about a reversed sign."""
    if not yes:
        return replace(state, asked=frozenset(), refused=True)
    return replace(state, asked=frozenset(), reversed_cells=state.reversed_cells | state.asked)


def take_as_it_is(state: Guided) -> Guided:
    """Return the state in which the next steady reading is taken, whatever it is."""
    return replace(state, as_it_is=True)


def void(state: Guided, number: int, reason: str) -> Guided:
    """Call point ``number`` (from 1) void. The last one is asked for again. Raises ValueError."""
    reason = " ".join(reason.split())
    if not reason:
        raise ValueError("a point is voided with a reason: it is kept, and people ask later")
    if not 1 <= number <= len(state.points):
        raise ValueError(f"there is no point {number}; there are {len(state.points)}")
    points = list(state.points)
    points[number - 1] = replace(points[number - 1], void=reason)
    return replace(state, points=tuple(points), asked=frozenset())


def _each_cell(state: Guided, counts: CountArray, seconds: FloatArray) -> list[Steadiness]:
    """Return the steadiness of each cell's last seconds."""
    plan, found = state.plan, []
    for cell, per_newton in enumerate(plan.counts_per_newton):
        full = abs(per_newton) * plan.heaviest_n
        rest = state.rest_noise[cell] if state.rest_noise else None
        limit = plan.noise_allowed[cell] if rest is None else max(SWING * full, REST_NOISE * rest)
        values = counts[:, cell].astype(np.float64)
        plateau = latest_plateau(values, seconds, DRIFT * full, limit, WINDOW_S)
        by_chance = plateau.noise if rest is None else min(rest, plateau.noise)
        by_chance *= CHANCE * math.sqrt(12.0 / max(plateau.samples, 1))
        found.append(replace(plateau, drift_limit=max(DRIFT * full, by_chance)))
    return found


def _told(state: Guided, found: Steadiness) -> str:
    """Return the verdict in counts; in newtons once two weights have shown what a count is."""
    per_kg = _counts_per_kg(state)
    if per_kg is None:
        return found.words()
    return found.words("N", abs(per_kg) / STANDARD_GRAVITY_M_S2)


def _how_far(found: Steadiness) -> float:
    return max(abs(found.drift) / found.drift_limit, found.noise / found.noise_limit)


def _unexpected(state: Guided, step: Step, means: FloatArray, noise: float) -> str:
    """Return why a steady reading is not the one that is due, "" when it is."""
    before = state.valid[-1] if state.valid else None
    if before is None or before.step.mass_kg == step.mass_kg:
        return ""
    elsewhere = _over_another_cell(state, step, means)
    if elsewhere:
        return elsewhere
    moved = float((means - np.array(before.counts)) @ state.signs)
    per_kg = _counts_per_kg(state)
    if not step.mass_kg or before.step.mass_kg is None or per_kg is None:
        return _not_there(state, step, moved, noise)
    due_kg = step.mass_kg - before.step.mass_kg
    found_kg = moved / per_kg
    if abs(found_kg - due_kg) <= UNEXPECTED * abs(due_kg):
        return ""
    if abs(found_kg) < UNEXPECTED * abs(due_kg):
        return f"waiting: {step.words} ({FORCE_IT})"
    return (
        f"steady, but it moved by about {found_kg:+.2f} kg where {due_kg:+g} kg was due: is all of "
        f"it on, and nothing else? ({FORCE_IT})"
    )


def _over_another_cell(state: Guided, step: Step, means: FloatArray) -> str:
    """Return why a weight seems to lie over a cell that is not the one meant, "" if it does not."""
    zeros = [point for point in state.valid if point.step.mass_kg == 0.0]
    if not step.cell or not step.mass_kg or not zeros:
        return ""
    parts = np.abs(means - np.array(zeros[-1].counts)) / np.abs(state.plan.counts_per_newton)
    found = state.plan.cells[int(np.argmax(parts))]
    if found == step.cell or parts.sum() < FIRST_MOVE * step.mass_kg * STANDARD_GRAVITY_M_S2:
        return ""
    return f"steady, but most of it lies over cell {found}: move it over {step.cell} ({FORCE_IT})"


def _not_there(state: Guided, step: Step, moved: float, noise: float) -> str:
    """Where no gain is known yet: the reading must have moved, and back for nothing on."""
    before = state.valid[-1]
    if step.mass_kg == 0.0:
        zero = next((p for p in state.valid if p.step.mass_kg == 0.0), None)
        if zero is None:
            return ""
        loaded = float((np.array(before.counts) - np.array(zero.counts)) @ state.signs)
        back = -moved / loaded if loaded else 1.0
        if abs(back - 1.0) <= UNEXPECTED:
            return ""
        return f"waiting: {step.words} ({100.0 * back:.0f} % of the load is off; {FORCE_IT})"
    load_n = (step.mass_kg or 0.0) * STANDARD_GRAVITY_M_S2 or LIGHTEST_BUCKET_N
    usual = float(np.mean(np.abs(state.plan.counts_per_newton)))
    if abs(moved) > max(FIRST_MOVE * usual * load_n, 8.0 * noise):
        return ""
    return f"waiting: {step.words} ({FORCE_IT})"


def _counts_per_kg(state: Guided) -> float | None:
    """Return the slope of the signed sum of counts through the points so far."""
    points = [p for p in state.valid if p.step.mass_kg is not None]
    masses = np.array([point.step.mass_kg for point in points], dtype=np.float64)
    if len(np.unique(masses)) < 2:
        return None
    sums = np.array([point.counts for point in points]) @ state.signs
    about = masses - masses.mean()
    return float(about @ sums / (about @ about)) or None


def _fallen(points: tuple[Plateau, ...]) -> frozenset[int]:
    """Return the cells that fell under the newest load: less than at the zero before it."""
    valid = [point for point in points if not point.void]
    zeros = [point for point in valid if point.step.mass_kg == 0.0]
    if not zeros or not valid or valid[-1].step.mass_kg == 0.0:
        return frozenset()
    change = np.array(valid[-1].counts) - np.array(zeros[-1].counts)
    largest = float(np.max(np.abs(change)))
    return frozenset(int(i) for i in np.flatnonzero(change < -FELL * largest))
