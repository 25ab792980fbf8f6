"""Where a pull stands: slack, rising, resting, falling, parted or eased. A fold over ticks.

The numbers are common practice on hand-cranked rigs, no source; they were tuned on simulated pulls.
The rules stand in `_Walk.tick`, for one tick. Ticks that can change no decision (a climb without a
fall, a tail without a tooth) are passed over in one stride by `_Walk.stride`; a test holds that
both roads give the same story.
"""

from dataclasses import dataclass, fields
from operator import attrgetter

import numpy as np
import numpy.typing as npt

from daq.live_reading import Phase
from daq.samples import FloatArray
from daq.watch.tick_course import DROP_S, WINDOW_S, Course, course_of
from daq.watch.ticks import NO_TICKS, Ticks

TOUCH_S = 0.3  # a load must last this long to be a pull and not a touch
SLACK_S = 3.0  # slack for so long ends the pull
DROP_PART = 0.15  # a fall by this part of the maximum within DROP_S is a failure ...
CRACK_PART = 0.015  # ... from this part on, with a new maximum to follow, it is a crack (of 2 %:
# the crank goes on turning meanwhile)
DROP_TICKS = 3  # and it must hold so long, or a lone bad reading would end a pull
FALLING_PART = 0.80
FALLING_S = 0.3
DECIDE_PART = 0.45  # here a slow fall is told apart: wood giving way, or a crank wound back
DECIDE_S = 8.0
WIND_BACK_RATE = 0.5  # winding back is as quick as cranking; wood that gives way is slower
SHOULDER_PART = 0.90  # down to here ...
SHOULDER_RATE = 0.7  # ... winding back is as quick as cranking; a rounded top is slower
TAIL_S = 5.0  # nobody rests so long while winding back: a fallen force that stays is a tail
TAIL_PART = 0.05  # of the maximum: it stays if it moves less than this
UNLOADED = (Phase.SLACK, Phase.PARTED, Phase.EASED)
STRETCH = 1000  # ticks looked at together, for speed only
CLIMBING = (Phase.RISING, Phase.RESTING)


@dataclass(frozen=True, slots=True)
class PhaseRules:
    """Forces the rules hang on, N at the specimen."""

    start_n: float
    floor_n: float  # a maximum below this is a touch, never a failure
    steady_n: float  # a change below this within WINDOW_S is no climb


def phase_rules(stop_n: float, noise_n: float) -> PhaseRules:
    """Return the rules for a stop force and a noise SD, both N at the specimen."""
    return PhaseRules(
        start_n=max(0.02 * stop_n, 20 * noise_n),
        floor_n=max(0.05 * stop_n, 20 * noise_n),
        steady_n=max(0.001 * stop_n, 3 * noise_n),
    )


@dataclass(frozen=True, slots=True)
class Happening:
    """Something a pull did: began, crack, parted, reopened, eased, ended."""

    kind: str
    seconds: float
    force_n: float


@dataclass(frozen=True, slots=True)
class PhaseState:
    """Where the pull stands. Times in s on the chain's clock, forces in N at the specimen."""

    phase: Phase = Phase.SLACK
    outcome: Phase = Phase.SLACK  # PARTED or EASED once that is known
    loaded_since_s: float | None = None
    began_s: float | None = None
    maximum_n: float = 0.0
    maximum_s: float = 0.0
    slope_n_per_s: float = 0.0  # change of force over the last WINDOW_S
    climb_n_per_s: float = 0.0  # steepest climb so far, over WINDOW_S
    shoulder_n_per_s: float = 0.0  # steepest fall from the maximum to SHOULDER_PART of it
    fall_n_per_s: float = 0.0  # steepest fall while below FALLING_PART, over WINDOW_S
    below_since_s: float | None = None
    slack_since_s: float | None = None
    tail_n: float = 0.0  # where a fallen force stays, and since when
    tail_since_s: float = 0.0
    drop_from_n: float = 0.0  # the level a drop in progress started from
    drop_s: float = 0.0
    drop_ticks: int = 0
    crack: Happening | None = None  # a fall that recovered: a crack once a new maximum comes
    recent: Ticks = NO_TICKS  # the last WINDOW_S

    @property
    def in_pull(self) -> bool:
        """Whether a pull is on (from the first load to the end of the slack after it)."""
        return self.began_s is not None


def follow(
    state: PhaseState, rules: PhaseRules, ticks: Ticks
) -> tuple[PhaseState, list[Happening]]:
    """Take ticks in order; return the state after them and what happened."""
    if not len(ticks):
        return state, []
    course = course_of(state.recent, ticks)
    walk = _Walk(_story(state), rules, course)
    at, end = 0, len(ticks)
    while at < end:
        at = walk.stride(at)
        if at < end:
            walk.tick(at)
            at += 1
    return _state(walk.story, course.recent), walk.happenings


# -- the rules, tick by tick --------------------------------------------------------------------


@dataclass(slots=True)
class _Story:
    """A pull as it is told: the fields of PhaseState, free to change within a block."""

    phase: Phase
    outcome: Phase
    loaded_since_s: float | None
    began_s: float | None
    maximum_n: float
    maximum_s: float
    slope_n_per_s: float
    climb_n_per_s: float
    shoulder_n_per_s: float
    fall_n_per_s: float
    below_since_s: float | None
    slack_since_s: float | None
    tail_n: float
    tail_since_s: float
    drop_from_n: float
    drop_s: float
    drop_ticks: int
    crack: Happening | None


#: The fields of a story, which come first in PhaseState and in the same order.
_told = attrgetter(*(field.name for field in fields(_Story)))


def _story(state: PhaseState) -> _Story:
    return _Story(*_told(state))


def _state(story: _Story, recent: Ticks) -> PhaseState:
    return PhaseState(*(*_told(story), recent))


@dataclass(frozen=True, slots=True, eq=False)
class _Ahead:
    """Ticks of a block that may matter, which hangs on the maximum so far alone."""

    maximum_n: FloatArray  # up to and with each tick
    higher: npt.NDArray[np.intp]  # ticks with a new maximum
    stirring: npt.NDArray[np.intp]  # that may decide something on the climb


class _Walk:
    """Goes through a block of ticks with the story so far."""

    def __init__(self, story: _Story, rules: PhaseRules, course: Course) -> None:
        self.story, self.happenings = story, list[Happening]()
        self._rules, self._course = rules, course
        self._seconds, self._force = course.seconds.tolist(), course.force_n.tolist()
        self._slopes, self._tops = course.slope_n_per_s.tolist(), course.top_n.tolist()
        self._ahead = self._look_ahead(0) if story.began_s is not None else None

    def _look_ahead(self, at: int) -> _Ahead:
        """Return what matters from tick ``at`` on, given the maximum before it."""
        force_n, top_n = self._course.force_n, self._course.top_n
        known = np.concatenate([[self.story.maximum_n], force_n[at:]])
        maximum_n = np.maximum.accumulate(known)
        higher = force_n[at:] > maximum_n[:-1]
        maximum_n = maximum_n[1:]
        stirs = top_n[at:] - force_n[at:] >= CRACK_PART * maximum_n
        stirs |= force_n[at:] <= self._rules.start_n / 2
        low = force_n[at:] < FALLING_PART * maximum_n
        return _Ahead(
            np.concatenate([np.zeros(at), maximum_n]),
            at + np.flatnonzero(higher),
            at + np.flatnonzero(stirs | low),
        )

    def stride(self, at: int) -> int:
        """Pass over ticks that decide nothing; return the first one from ``at`` on that may."""
        story = self.story
        if story.began_s is None:
            return self._wait(at)
        if story.outcome is not Phase.SLACK and story.phase in UNLOADED:
            return self._pass_end(at)
        if self._ahead is None or story.drop_ticks or story.phase is Phase.FALLING:
            return at
        return self._pass_climb(at)

    def _wait(self, at: int) -> int:
        if self.story.loaded_since_s is not None:
            return at
        to = at + _first(self._course.force_n[at:] >= self._rules.start_n)
        if to > at:
            self.story.slope_n_per_s = self._slopes[to - 1]
        return to

    def _pass_end(self, at: int) -> int:
        """Pass over a tail or slack once the outcome is known: nothing falls, rises or runs out."""
        story, part = self.story, slice(at, at + STRETCH)
        seconds, force_n = self._course.seconds[part], self._course.force_n[part]
        crack_n, slack_n = CRACK_PART * story.maximum_n, self._rules.start_n / 2
        stirs = force_n > story.maximum_n
        if story.drop_ticks:
            stirs |= story.drop_from_n - force_n < crack_n
        else:
            stirs |= self._course.top_n[part] - force_n >= crack_n
        if story.slack_since_s is None:
            stirs |= force_n <= slack_n
        else:
            stirs |= (force_n > slack_n) | (seconds - story.slack_since_s >= SLACK_S)
        passed = _first(stirs)
        if passed:
            story.below_since_s = None
            story.drop_ticks += passed if story.drop_ticks else 0
            story.slope_n_per_s = self._slopes[at + passed - 1]
        return at + passed

    def _pass_climb(self, at: int) -> int:
        assert self._ahead is not None
        story, ahead = self.story, self._ahead
        to = self._next(ahead.stirring, at)
        if story.crack is not None:
            to = min(to, self._next(ahead.higher, at))
        if to == at:
            return at
        highest = int(np.searchsorted(ahead.higher, to)) - 1
        if highest >= 0 and ahead.higher[highest] >= at:
            story.maximum_n = float(ahead.maximum_n[to - 1])
            story.maximum_s = self._seconds[ahead.higher[highest]]
            story.fall_n_per_s = story.shoulder_n_per_s = 0.0
        begin = max(at, int(ahead.higher[highest]) + 1) if highest >= 0 else at
        shoulder = self._course.force_n[begin:to] >= SHOULDER_PART * story.maximum_n
        falls = -self._course.slope_n_per_s[begin:to][shoulder]
        story.shoulder_n_per_s = max(story.shoulder_n_per_s, float(falls.max(initial=0.0)))
        story.below_since_s = story.slack_since_s = None
        story.slope_n_per_s = self._slopes[to - 1]
        story.climb_n_per_s = max(story.climb_n_per_s, *self._slopes[at:to])
        story.phase = self._climbing()
        return to

    def _next(self, ticks: npt.NDArray[np.intp], at: int) -> int:
        place = int(np.searchsorted(ticks, at))
        return int(ticks[place]) if place < len(ticks) else len(self._force)

    def _climbing(self) -> Phase:
        rises = self.story.slope_n_per_s * WINDOW_S > self._rules.steady_n
        return Phase.RISING if rises else Phase.RESTING

    def tick(self, at: int) -> None:
        """Judge one tick by every rule."""
        seconds, force_n = self._seconds[at], self._force[at]
        self.story.slope_n_per_s = self._slopes[at]
        if self.story.began_s is None:
            self._waiting(at, seconds, force_n)
        else:
            self._loaded(seconds, force_n, self._tops[at])

    def _tell(self, kind: str, seconds: float, force_n: float) -> None:
        self.happenings.append(Happening(kind, seconds, force_n))

    def _waiting(self, at: int, seconds: float, force_n: float) -> None:
        story = self.story
        if force_n < self._rules.start_n:
            story.loaded_since_s = None
            return
        since = seconds if story.loaded_since_s is None else story.loaded_since_s
        story.loaded_since_s = since
        if seconds - since < TOUCH_S:
            return
        self._tell("began", since, force_n)
        begun = PhaseState(
            phase=Phase.RISING,
            began_s=since,
            maximum_n=force_n,
            maximum_s=seconds,
            slope_n_per_s=story.slope_n_per_s,
        )
        self.story = _story(begun)
        self._ahead = self._look_ahead(at + 1)

    def _loaded(self, seconds: float, force_n: float, top_n: float) -> None:
        story = self.story
        self._watch_drop(seconds, force_n, top_n)
        if force_n > story.maximum_n:
            self._new_maximum(seconds, force_n)
        self._watch_fall(seconds, force_n)
        self._watch_slack(seconds, force_n)
        if self.story.phase in CLIMBING:
            self.story.phase = self._climbing()
            self.story.climb_n_per_s = max(story.climb_n_per_s, story.slope_n_per_s)

    def _new_maximum(self, seconds: float, force_n: float) -> None:
        story = self.story
        if story.outcome is not Phase.SLACK:
            self._tell("reopened", seconds, force_n)
        if story.crack is not None:
            self.happenings.append(story.crack)
        story.phase = story.phase if story.phase is Phase.RESTING else Phase.RISING
        story.outcome = Phase.SLACK
        story.maximum_n, story.maximum_s = force_n, seconds
        story.below_since_s, story.crack = None, None
        story.fall_n_per_s = story.shoulder_n_per_s = 0.0

    def _watch_drop(self, seconds: float, force_n: float, top_n: float) -> None:
        """Notice a sudden fall: a failure at once, a crack when a new maximum follows."""
        story = self.story
        crack_n = CRACK_PART * story.maximum_n
        if not story.drop_ticks:
            if top_n - force_n >= crack_n:
                story.drop_from_n, story.drop_s, story.drop_ticks = top_n, seconds, 1
            return
        fallen_n = story.drop_from_n - force_n
        if fallen_n < crack_n:
            if story.drop_ticks >= DROP_TICKS and story.maximum_n > self._rules.floor_n:
                story.crack = Happening("crack", story.drop_s, story.drop_from_n)
            story.drop_from_n, story.drop_ticks = 0.0, 0
            return
        story.drop_ticks += 1
        failure_n = DROP_PART * story.maximum_n
        sudden = top_n - force_n >= failure_n
        held = story.drop_ticks >= DROP_TICKS and fallen_n >= failure_n
        worth_it = story.maximum_n > self._rules.floor_n and story.phase not in UNLOADED
        if sudden and held and worth_it:
            self._parted(seconds, force_n)

    def _watch_fall(self, seconds: float, force_n: float) -> None:
        """Notice a slow fall, and tell wood giving way from a crank wound back."""
        story, rules = self.story, self._rules
        if force_n >= FALLING_PART * story.maximum_n or story.phase in UNLOADED:
            story.below_since_s = None
            if story.phase is Phase.FALLING:
                story.phase = Phase.RISING
            if SHOULDER_PART * story.maximum_n <= force_n < story.maximum_n:
                story.shoulder_n_per_s = max(story.shoulder_n_per_s, -story.slope_n_per_s)
            return
        since = seconds if story.below_since_s is None else story.below_since_s
        story.below_since_s = since
        story.fall_n_per_s = max(story.fall_n_per_s, -story.slope_n_per_s)
        if seconds - since < FALLING_S:
            return
        story.phase = Phase.FALLING
        if abs(force_n - story.tail_n) > TAIL_PART * story.maximum_n:
            story.tail_n, story.tail_since_s = force_n, seconds
        stays = seconds - story.tail_since_s > TAIL_S and force_n > rules.start_n
        decide = force_n < DECIDE_PART * story.maximum_n or seconds - since > DECIDE_S
        slow = story.fall_n_per_s < WIND_BACK_RATE * story.climb_n_per_s
        slow |= story.shoulder_n_per_s < SHOULDER_RATE * story.climb_n_per_s
        if (stays or (decide and slow)) and story.maximum_n > rules.floor_n:
            self._parted(seconds, force_n)

    def _watch_slack(self, seconds: float, force_n: float) -> None:
        """Notice the end: slack, and slack for long enough."""
        story = self.story
        if force_n > self._rules.start_n / 2:
            story.slack_since_s = None
            return
        since = seconds if story.slack_since_s is None else story.slack_since_s
        story.slack_since_s = since
        if story.outcome is Phase.SLACK and seconds - since > DROP_S:
            self._tell("eased", seconds, force_n)
            story.phase = story.outcome = Phase.EASED
        if seconds - since < SLACK_S:
            return
        self._tell("ended", seconds, force_n)
        self.story = _story(PhaseState(slope_n_per_s=story.slope_n_per_s))
        self._ahead = None

    def _parted(self, seconds: float, force_n: float) -> None:
        self._tell("parted", seconds, force_n)
        self.story.phase = self.story.outcome = Phase.PARTED


def _first(marks: npt.NDArray[np.bool_]) -> int:
    """Return the first place that is marked, or the number of places."""
    return int(np.argmax(marks)) if marks.any() else len(marks)
