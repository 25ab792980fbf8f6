"""The person at the crank: strokes and rests, from slack to the end and back.

The person aims at a maximum after about 90 s, looks at the force between strokes, slows down near
the stop force, ends a stroke at the stop force, goes on a little after the specimen has let go, and
winds back to slack. ``pull`` runs a whole pull; ``Trail`` is what happened, step by step.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from simulators.rig_mechanics import CREEP_DECADES, CREEP_TIMES_S, LoadedRig
from simulators.scenario import CrankRanges

MOVING_S = 0.003
RESTING_S = 0.025
QUIET_S = 0.25
BACK_S = 0.010
SHORTEST_S = 1e-5
RAMP = 0.2  # part of a stroke in which the hand starts, and stops
STROKES = (1 / 16, 1 / 12, 1 / 8, 1 / 6, 1 / 5, 1 / 4)  # turns a careful person takes
SLACK_STROKE = 1 / 4
BACK_STROKE = 1 / 2
TOUCH_N = 25.0  # the hand feels the load
NOTHING_LEFT = 0.06  # of the maximum: it has parted
NEAR_STOP = 0.94  # from here on half as fast
LONGEST_PULL_S = 400.0


@dataclass(frozen=True, slots=True)
class Hand:
    """How this person cranks this pull. Turns, seconds."""

    stroke_turns: float
    stroke_s: float
    rest_s: float
    unevenness: float
    strokes_after: int
    reaction_s: float
    look_s: float
    quiet_before_s: float
    quiet_after_s: float
    pause_s: float
    pause_from_n: float


@dataclass(slots=True)
class Trail:
    """What happened: one entry a step. Times s, forces N at the specimen."""

    time_s: list[float] = field(default_factory=list)
    force_n: list[float] = field(default_factory=list)
    friction: list[float] = field(default_factory=list)
    turns: list[float] = field(default_factory=list)
    crack_times_s: list[float] = field(default_factory=list)

    def note(self, time_s: float, rig: LoadedRig) -> None:
        """Write down where the rig stands."""
        self.time_s.append(time_s)
        self.force_n.append(rig.force_n)
        self.friction.append(rig.friction)
        self.turns.append(rig.turns)
        while len(self.crack_times_s) < len(rig.cracks):
            self.crack_times_s.append(time_s)


def draw_hand(ranges: CrankRanges, rig: LoadedRig, stop_n: float, rng: np.random.Generator) -> Hand:
    """Choose stroke and rest so that the maximum comes about when it should."""
    stroke_s = ranges.stroke_s.draw(rng)
    aim_s = ranges.time_to_max_s.draw(rng)
    turns = _turns_to_maximum(rig, stop_n)
    sizes = [size for size in STROKES if aim_s * size / turns >= stroke_s + 0.8]
    stroke_turns = max(sizes[0] if sizes else STROKES[-1], 0.0)
    within = [size for size in sizes if aim_s * size / turns <= 5.5]
    stroke_turns = within[-1] if within else stroke_turns
    return Hand(
        stroke_turns=stroke_turns,
        stroke_s=stroke_s,
        rest_s=min(7.0, max(0.8, aim_s * stroke_turns / turns - stroke_s)),
        unevenness=ranges.unevenness.draw(rng),
        strokes_after=ranges.strokes_after.draw_whole(rng),
        reaction_s=ranges.reaction_s.draw(rng),
        look_s=ranges.look_s.draw(rng),
        quiet_before_s=ranges.quiet_before_s.draw(rng),
        quiet_after_s=ranges.quiet_after_s.draw(rng),
        pause_s=ranges.pause_s.draw(rng),
        pause_from_n=ranges.pause_from_share.draw(rng) * rig.specimen.strength_n,
    )


def _turns_to_maximum(rig: LoadedRig, stop_n: float) -> float:
    """Estimate the crank turns from contact to the maximum, or to the stop force."""
    specimen, build = rig.specimen, rig.build
    top_n = min(specimen.strength_n, stop_n)
    part = min(1.0, max(0.0, (top_n - specimen.yield_n) / (specimen.strength_n - specimen.yield_n)))
    creep = specimen.relaxation * CREEP_DECADES * (len(CREEP_TIMES_S) - 0.5)
    slips = sum(crack.drop_share * crack.at_n for crack in specimen.cracks)
    sprung_mm = (top_n * (1.0 + creep) + slips) / rig.spring_n_per_mm + 0.5 * specimen.toe_mm
    slid_mm = specimen.hardening_mm * (1.0 - math.sqrt(1.0 - part))
    return (sprung_mm + slid_mm) * build.ratio / build.lead_mm


class Crank:
    """Moves a rig through time and writes the trail. Times s from the start of the pull."""

    def __init__(self, rig: LoadedRig, hand: Hand, stop_n: float, rng: np.random.Generator) -> None:
        self.rig = rig
        self.hand = hand
        self.stop_n = stop_n
        self.time_s = 0.0
        self.trail = Trail()
        self.maximum_n = 0.0
        self._rng = rng
        self.trail.note(0.0, rig)

    def rest(self, seconds: float, longest_s: float = RESTING_S) -> None:
        """Leave the crank where it is."""
        end = self.time_s + seconds
        while self.time_s < end:
            # a step grows with the time since the stroke: the load settles quickly first
            grown_s = max(MOVING_S, 0.2 * (self.time_s - end + seconds))
            self._step(self.rig.turns, min(grown_s, longest_s, end - self.time_s))

    def stroke(self, turns: float, seconds: float, stop_if: Callable[[], bool]) -> bool:
        """Turn by ``turns`` (back: negative) unless ``stop_if`` says so; return whether it did."""
        start_s, start_turns = self.time_s, self.rig.turns
        usual_s = MOVING_S if turns > 0.0 else BACK_S
        while (done_s := self.time_s - start_s) < seconds:
            if stop_if():
                return True
            step_s = min(usual_s, seconds - done_s, self.rig.longest_step_s())
            step_s = max(step_s, SHORTEST_S)
            self._step(start_turns + turns * _part_done((done_s + step_s) / seconds), step_s)
        return False

    def _step(self, turns: float, seconds: float) -> None:
        allowed = max(self.rig.longest_step_s(), SHORTEST_S)
        steps = 1 if seconds <= allowed else min(math.ceil(seconds / allowed), 64)
        start = self.rig.turns
        for i in range(1, steps + 1):
            self.rig.step(start + (turns - start) * i / steps, seconds / steps)
            self.time_s += seconds / steps
            self.trail.note(self.time_s, self.rig)
        self.maximum_n = max(self.maximum_n, self.rig.force_n)

    def uneven(self, value: float) -> float:
        """Return ``value`` as a hand repeats it."""
        return value * (1.0 + self.hand.unevenness * float(self._rng.uniform(-1.0, 1.0)))


def pull(crank: Crank) -> Trail:
    """Run one pull from quiet slack to quiet slack."""
    crank.rest(crank.hand.quiet_before_s, QUIET_S)
    _take_up_slack(crank)
    _climb(crank)
    crank.rest(crank.hand.look_s)
    _wind_back(crank)
    crank.rest(crank.hand.quiet_after_s, QUIET_S)
    return crank.trail


def _take_up_slack(crank: Crank) -> None:
    touched = False
    while not touched:
        touched = crank.stroke(SLACK_STROKE, 1.0, lambda: crank.rig.force_n > TOUCH_N)
        crank.rest(crank.uneven(0.8))


def _climb(crank: Crank) -> None:
    hand, rig = crank.hand, crank.rig
    since_maximum, pause_s = 0, hand.pause_s
    while since_maximum < hand.strokes_after and crank.time_s < LONGEST_PULL_S:
        before_n = crank.maximum_n
        near = rig.force_n > NEAR_STOP * crank.stop_n
        seconds = crank.uneven(hand.stroke_s) * (2.0 if near else 1.0)
        if crank.stroke(crank.uneven(hand.stroke_turns), seconds, _stop_seen(crank)):
            return
        if rig.force_n < NOTHING_LEFT * crank.maximum_n:
            return
        since_maximum = 0 if crank.maximum_n > before_n else since_maximum + 1
        crank.rest(crank.uneven(hand.rest_s))
        if pause_s and rig.force_n > hand.pause_from_n:
            crank.rest(pause_s)
            pause_s = 0.0


def _stop_seen(crank: Crank) -> Callable[[], bool]:
    """Return a test that is true one reaction time after the stop force."""
    reached: list[float] = []

    def seen() -> bool:
        if crank.rig.force_n >= crank.stop_n and not reached:
            reached.append(crank.time_s)
        return bool(reached) and crank.time_s >= reached[0] + crank.hand.reaction_s

    return seen


def _wind_back(crank: Crank) -> None:
    while crank.rig.turns > 1e-9:
        turns = min(BACK_STROKE, crank.rig.turns)
        crank.stroke(-turns, max(0.4, crank.uneven(1.8 * turns)), lambda: False)
        crank.rest(crank.uneven(0.5))


def _part_done(part: float) -> float:
    """Return the part of a stroke done after this part of its time: ramps at both ends."""
    top = 1.0 / (1.0 - RAMP)
    if part < RAMP:
        return 0.5 * top * part * part / RAMP
    if part > 1.0 - RAMP:
        return 1.0 - 0.5 * top * (1.0 - part) * (1.0 - part) / RAMP if part < 1.0 else 1.0
    return top * (part - 0.5 * RAMP)
