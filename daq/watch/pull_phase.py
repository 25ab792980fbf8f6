"""Where a pull stands: slack, rising, resting, falling, parted or eased. A fold over ticks.

The numbers are common practice on hand-cranked rigs, no source; they were tuned on simulated pulls.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from daq.live_reading import Phase
from daq.watch.ticks import Tick

TOUCH_S = 0.3  # a load must last this long to be a pull and not a touch
SLACK_S = 3.0  # slack for so long ends the pull
WINDOW_S = 0.4  # slopes are taken over this
DROP_S = 0.25
DROP_PART = 0.15  # a fall by this part of the maximum within DROP_S is a failure ...
CRACK_PART = 0.02  # ... from this part on, with a new maximum to follow, it is a crack
DROP_TICKS = 3  # and it must hold so long, or a lone bad reading would end a pull
FALLING_PART = 0.80
FALLING_S = 0.3
DECIDE_PART = 0.45  # here a slow fall is told apart: wood giving way, or a crank wound back
DECIDE_S = 8.0
WIND_BACK_RATE = 0.5  # winding back is as quick as cranking; wood that gives way is slower
TAIL_S = 5.0  # nobody rests so long while winding back: a fallen force that stays is a tail
TAIL_PART = 0.05  # of the maximum: it stays if it moves less than this
UNLOADED = (Phase.SLACK, Phase.PARTED, Phase.EASED)


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
    climb_n_per_s: float = 0.0  # steepest climb so far, over WINDOW_S
    fall_n_per_s: float = 0.0  # steepest fall while below FALLING_PART, over WINDOW_S
    below_since_s: float | None = None
    slack_since_s: float | None = None
    tail_n: float = 0.0  # where a fallen force stays, and since when
    tail_since_s: float = 0.0
    drop_from_n: float = 0.0  # the level a drop in progress started from
    drop_s: float = 0.0
    drop_ticks: int = 0
    crack: Happening | None = None  # a fall that recovered: a crack once a new maximum comes
    recent: tuple[Tick, ...] = ()

    @property
    def in_pull(self) -> bool:
        """Whether a pull is on (from the first load to the end of the slack after it)."""
        return self.began_s is not None

    @property
    def slope_n_per_s(self) -> float:
        """Change of force over the last WINDOW_S."""
        return _slope(self.recent)


def follow(
    state: PhaseState, rules: PhaseRules, ticks: Iterable[Tick]
) -> tuple[PhaseState, list[Happening]]:
    """Take ticks in order; return the state after them and what happened."""
    happenings: list[Happening] = []
    for tick in ticks:
        recent = (*(t for t in state.recent if t.seconds >= tick.seconds - WINDOW_S), tick)
        state = replace(state, recent=recent)
        if state.in_pull:
            state = _loaded(state, rules, tick, happenings)
        else:
            state = _waiting(state, rules, tick, happenings)
    return state, happenings


def _waiting(
    state: PhaseState, rules: PhaseRules, tick: Tick, happenings: list[Happening]
) -> PhaseState:
    if tick.force_n < rules.start_n:
        return replace(state, loaded_since_s=None)
    since = tick.seconds if state.loaded_since_s is None else state.loaded_since_s
    if tick.seconds - since < TOUCH_S:
        return replace(state, loaded_since_s=since)
    happenings.append(Happening("began", since, tick.force_n))
    return PhaseState(
        phase=Phase.RISING,
        began_s=since,
        maximum_n=tick.force_n,
        maximum_s=tick.seconds,
        recent=state.recent,
    )


def _loaded(
    state: PhaseState, rules: PhaseRules, tick: Tick, happenings: list[Happening]
) -> PhaseState:
    if tick.force_n > state.maximum_n:
        state = _new_maximum(state, tick, happenings)
    state = _watch_drop(state, rules, tick, happenings)
    state = _watch_fall(state, rules, tick, happenings)
    state = _watch_slack(state, rules, tick, happenings)
    if state.phase in (Phase.RISING, Phase.RESTING):
        climbing = state.slope_n_per_s * WINDOW_S > rules.steady_n
        state = replace(state, phase=Phase.RISING if climbing else Phase.RESTING)
        state = replace(state, climb_n_per_s=max(state.climb_n_per_s, state.slope_n_per_s))
    return state


def _new_maximum(state: PhaseState, tick: Tick, happenings: list[Happening]) -> PhaseState:
    if state.outcome is not Phase.SLACK:
        happenings.append(Happening("reopened", tick.seconds, tick.force_n))
    elif state.crack is not None:
        happenings.append(state.crack)
    phase = state.phase if state.phase is Phase.RESTING else Phase.RISING
    return replace(
        state,
        phase=phase,
        outcome=Phase.SLACK,
        maximum_n=tick.force_n,
        maximum_s=tick.seconds,
        below_since_s=None,
        fall_n_per_s=0.0,
        crack=None,
    )


def _watch_drop(
    state: PhaseState, rules: PhaseRules, tick: Tick, happenings: list[Happening]
) -> PhaseState:
    """Notice a sudden fall: a failure at once, a crack when a new maximum follows."""
    lately = [t.force_n for t in state.recent if t.seconds >= tick.seconds - DROP_S]
    top = max(lately, default=tick.force_n)
    if not state.drop_ticks:
        if top - tick.force_n < CRACK_PART * state.maximum_n:
            return state
        return replace(state, drop_from_n=top, drop_s=tick.seconds, drop_ticks=1)
    if state.drop_from_n - tick.force_n < CRACK_PART * state.maximum_n:
        held = state.drop_ticks >= DROP_TICKS
        crack = Happening("crack", state.drop_s, state.drop_from_n) if held else state.crack
        return replace(state, drop_from_n=0.0, drop_ticks=0, crack=crack)
    state = replace(state, drop_ticks=state.drop_ticks + 1)
    sudden = top - tick.force_n >= DROP_PART * state.maximum_n
    held = state.drop_ticks >= DROP_TICKS and state.drop_from_n - tick.force_n >= (
        DROP_PART * state.maximum_n
    )
    worth_it = state.maximum_n > rules.floor_n and state.phase not in UNLOADED
    if sudden and held and worth_it:
        return _parted(state, tick, happenings)
    return state


def _watch_fall(
    state: PhaseState, rules: PhaseRules, tick: Tick, happenings: list[Happening]
) -> PhaseState:
    """Notice a slow fall, and tell wood giving way from a crank wound back."""
    if tick.force_n >= FALLING_PART * state.maximum_n or state.phase in UNLOADED:
        return replace(state, below_since_s=None)
    since = tick.seconds if state.below_since_s is None else state.below_since_s
    fall = max(state.fall_n_per_s, -state.slope_n_per_s)
    state = replace(state, below_since_s=since, fall_n_per_s=fall)
    if tick.seconds - since < FALLING_S:
        return state
    state = replace(state, phase=Phase.FALLING)
    if abs(tick.force_n - state.tail_n) > TAIL_PART * state.maximum_n:
        state = replace(state, tail_n=tick.force_n, tail_since_s=tick.seconds)
    stays = tick.seconds - state.tail_since_s > TAIL_S and tick.force_n > rules.start_n
    decide = tick.force_n < DECIDE_PART * state.maximum_n or tick.seconds - since > DECIDE_S
    slow = state.fall_n_per_s < WIND_BACK_RATE * state.climb_n_per_s
    if (stays or (decide and slow)) and state.maximum_n > rules.floor_n:
        return _parted(state, tick, happenings)
    return state


def _watch_slack(
    state: PhaseState, rules: PhaseRules, tick: Tick, happenings: list[Happening]
) -> PhaseState:
    """Notice the end: slack, and slack for long enough."""
    if tick.force_n > rules.start_n / 2:
        return replace(state, slack_since_s=None)
    since = tick.seconds if state.slack_since_s is None else state.slack_since_s
    state = replace(state, slack_since_s=since)
    if state.outcome is Phase.SLACK and tick.seconds - since > DROP_S:
        happenings.append(Happening("eased", tick.seconds, tick.force_n))
        state = replace(state, phase=Phase.EASED, outcome=Phase.EASED)
    if tick.seconds - since < SLACK_S:
        return state
    happenings.append(Happening("ended", tick.seconds, tick.force_n))
    return PhaseState(recent=state.recent)


def _parted(state: PhaseState, tick: Tick, happenings: list[Happening]) -> PhaseState:
    happenings.append(Happening("parted", tick.seconds, tick.force_n))
    return replace(state, phase=Phase.PARTED, outcome=Phase.PARTED)


def _slope(recent: tuple[Tick, ...]) -> float:
    if len(recent) < 2:
        return 0.0
    seconds = recent[-1].seconds - recent[0].seconds
    return (recent[-1].force_n - recent[0].force_n) / seconds if seconds > 0 else 0.0
