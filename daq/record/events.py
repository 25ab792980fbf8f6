"""What happened beside the samples: marks, bad lines, gaps, trips, choices."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from daq.record import layout
from daq.record.inert_text import inert


class EventKind(StrEnum):
    """Kinds of event. The values are part of the file format."""

    MARK = "mark"  # a person marked the moment
    BAD_LINE = "bad line"  # text: kind of bad line and the bytes, escaped; value: how many
    GAP = "gap"  # value: samples lost (0: unknown)
    RESTART = "restart"
    MESSAGE = "message"  # text the board sent
    ZERO = "zero"  # a zero was taken, or refused
    TRIP = "trip"  # the guard tripped; value: force in N
    ACKNOWLEDGED = "acknowledged"
    PHASE = "phase"  # text: slack, rising, ...
    CRACK = "crack"  # value: force in N
    MODE = "mode"  # a failure mode was chosen
    INVALID = "invalid"  # discarded as invalid; text: the reason
    NOTE = "note"
    LINK_LOST = "link lost"
    RECORDER = "recorder"  # full queue, little room, a fault of the recorder itself


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened.

    ``index`` is the sample index it belongs before, ``host_ns`` the host's monotonic clock,
    ``value`` a number whose meaning the kind gives (NaN: none), ``text`` at most
    200 bytes of UTF-8.
    """

    kind: EventKind
    index: int
    host_ns: int
    text: str = ""
    value: float = float("nan")


def to_rows(events: Sequence[Event]) -> np.ndarray:
    """Return events as rows of ``layout.EVENT_DTYPE``; text is made inert and cut to fit."""
    return np.array(
        [
            (
                event.kind.value.encode(),
                event.index,
                event.host_ns,
                event.value,
                _fitting(event.text),
            )
            for event in events
        ],
        dtype=layout.EVENT_DTYPE,
    )


def _fitting(text: str) -> bytes:
    data = inert(text, layout.TEXT_BYTES).encode("utf-8")[: layout.TEXT_BYTES]
    return data.decode("utf-8", "ignore").encode("utf-8")


def from_rows(rows: np.ndarray) -> tuple[Event, ...]:
    """Return rows as events. Raises ValueError for an unknown kind or text that is not UTF-8."""
    return tuple(
        Event(
            kind=EventKind(row["kind"].decode("ascii")),
            index=int(row["index"]),
            host_ns=int(row["host_ns"]),
            text=inert(row["text"].decode("utf-8"), layout.TEXT_BYTES),
            value=float(row["value"]),
        )
        for row in rows
    )
