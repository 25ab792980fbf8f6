"""Which sound when: a fold over readings; playing it is the edge's business."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from enum import StrEnum

from daq.live_reading import LiveReading, Phase, Recording
from tui.pace import Pace
from tui.wording import room_state


class Cue(StrEnum):
    """A sound with one meaning."""

    PACE = "pace"  # turn now: one stroke per tick keeps the climb
    NEAR = "near"
    STOP = "stop"
    LOST = "lost"
    PARTED = "parted"
    SAVED = "saved"


#: When the terminal bell rings, in seconds from the cue: few patterns, unlike each other.
BELLS: dict[Cue, tuple[float, ...]] = {
    Cue.PACE: (0.0,),
    Cue.NEAR: (0.0, 0.18),
    Cue.STOP: (0.0, 0.12, 0.24, 0.36, 0.48),
    Cue.LOST: (0.0, 0.5, 1.0),
    Cue.PARTED: (0.0, 0.15, 0.6),
    Cue.SAVED: (0.0, 0.6),
}
#: Cues that last as long as their cause, and how often they come again (s).
AGAIN_S = {Cue.STOP: 1.2, Cue.LOST: 2.5, Cue.NEAR: 4.0}
CLOSE_AGAIN_S = 1.6
TICK_S = (1.5, 30.0)  # a tick comes no faster and no slower than this


@dataclass(frozen=True, slots=True)
class Listening:
    """What was heard so far: the last reading's states, and when each cue last sounded (s)."""

    phase: Phase = Phase.SLACK
    recording: Recording = Recording.OFF
    room: str = "free"
    live: bool = True
    last_s: tuple[tuple[Cue, float], ...] = ()

    def since(self, cue: Cue, now_s: float) -> float:
        """Return the seconds since a cue last sounded; infinite if never."""
        return now_s - dict(self.last_s).get(cue, float("-inf"))


def listen(
    heard: Listening,
    reading: LiveReading,
    pace: Pace,
    now_s: float,
    *,
    sound_on: bool = True,
    muted: Collection[str] = (),
    stroke_n: float | None = None,
) -> tuple[Listening, tuple[Cue, ...]]:
    """Return what was heard, and the cues that sound now, most urgent first.

    ``stroke_n`` is the specimen force that one stroke of the crank adds (None: no pace tick).
    Silence (``sound_on`` False) mutes all but the stop, ``muted`` the sounds named.
    """
    wanted = [
        *_lasting(heard, reading, now_s),
        *_passing(heard, reading),
        *_tick(heard, reading, pace, now_s, stroke_n),
    ]
    cues = tuple(cue for cue in wanted if cue is Cue.STOP or (sound_on and cue not in muted))
    last = dict(heard.last_s) | dict.fromkeys(cues, now_s)
    after = replace(
        heard,
        phase=reading.phase,
        recording=reading.recording.state,
        room=room_state(reading),
        live=reading.live,
        last_s=tuple(last.items()),
    )
    return after, cues


def _lasting(heard: Listening, reading: LiveReading, now_s: float) -> list[Cue]:
    if reading.trip is not None:
        stop = [Cue.STOP] if heard.since(Cue.STOP, now_s) >= AGAIN_S[Cue.STOP] else []
        return stop + ([Cue.LOST] if heard.live and not reading.live else [])
    if not reading.live:
        if not reading.zeroed and reading.phase is Phase.SLACK:
            return []  # nothing was lost: it has not begun
        due = heard.live or heard.since(Cue.LOST, now_s) >= AGAIN_S[Cue.LOST]
        return [Cue.LOST] if due else []
    room = room_state(reading)
    if room not in ("near", "close", "gone"):
        return []
    again_s = AGAIN_S[Cue.NEAR] if room == "near" else CLOSE_AGAIN_S
    due = room != heard.room or heard.since(Cue.NEAR, now_s) >= again_s
    return [Cue.NEAR] if due else []


def _passing(heard: Listening, reading: LiveReading) -> list[Cue]:
    cues = []
    if reading.phase is Phase.PARTED and heard.phase is not Phase.PARTED:
        cues.append(Cue.PARTED)
    state = reading.recording.state
    if state is Recording.SAVED and heard.recording is not Recording.SAVED:
        cues.append(Cue.SAVED)
    return cues


def _tick(
    heard: Listening, reading: LiveReading, pace: Pace, now_s: float, stroke_n: float | None
) -> list[Cue]:
    if stroke_n is None or not pace.target_n_per_s > 0 or reading.trip is not None:
        return []
    every_s = min(max(stroke_n / pace.target_n_per_s, TICK_S[0]), TICK_S[1])
    return [Cue.PACE] if heard.since(Cue.PACE, now_s) >= every_s else []
