"""The reading edge: a file in, a frozen recording out, or one sentence why not."""

import stat
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from daq.faults import RecordingFault
from daq.record import events as event_rows
from daq.record import header as headers
from daq.record import layout
from daq.record.contents import Contents, good_commits, open_contents
from daq.record.events import Event
from daq.record.guarded import read_guarded
from daq.record.header import RunHeader, ZeroRecord
from daq.record.inert_text import error_words, inert
from daq.record.seal import Seal, read_seal

READ_AGAIN = 5  # times, where the file is written to meanwhile
CUT_SHORT = (
    "The recording was cut short: it was never finished (or is still being written). "
    "It holds what was committed: {rows} samples."
)


@dataclass(frozen=True, slots=True, eq=False)
class Change:
    """A later change: when, why, what, and the arrays that came with it."""

    at: datetime
    reason: str
    change: Mapping[str, Any]
    data: Mapping[str, np.ndarray]


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One pull as it was recorded.

    ``samples`` is structured (``daq.samples.sample_dtype``) and read-only. ``result`` is what was
    written when the pull ended (empty if it never did), ``history`` what was changed since, oldest
    first. ``complete``: the pull ended and every sample is there; otherwise ``cut_short`` says what
    happened, in a sentence.
    """

    path: Path
    header: RunHeader
    samples: np.ndarray
    events: tuple[Event, ...]
    events_not_kept: int
    result: Mapping[str, Any]
    zero_after: ZeroRecord | None
    history: tuple[Change, ...]
    complete: bool
    cut_short: str


def read_recording(path: Path) -> Recording:
    """Read a recording. Raises RecordingFault with a sentence for whatever is not a sound one.

    A file whose pull was cut short is sound: all that was committed is there, and it says so. One
    that is being written may change while it is read: then it is read again.
    """
    check_regular(path)
    for _ in range(READ_AGAIN):
        stamp = _stamp(path)
        try:
            return _read(path)
        except RecordingFault:
            if _stamp(path) == stamp:
                raise
    return _read(path)


def _stamp(path: Path) -> tuple[int, ...]:
    """Return what tells whether a file was written to."""
    try:
        status = path.stat()
    except OSError:
        return ()
    return status.st_ino, status.st_size, status.st_mtime_ns


def _read(path: Path) -> Recording:
    try:
        seal, _ = read_seal(path)
        if seal is Seal.BROKEN:
            raise RecordingFault("it was changed or damaged after it was closed")
        sealed = seal is Seal.WHOLE
        contents = open_contents(path, sealed=True) if sealed else read_guarded(path)
        return _recording(path, contents, sealed)
    except RecordingFault as fault:
        raise RecordingFault(_refusal(path, str(fault))) from None
    except OSError as error:
        raise RecordingFault(_refusal(path, error_words(error))) from None


def check_regular(path: Path) -> None:
    """Raise RecordingFault unless ``path`` is a file with something in it (no pipe, no device)."""
    try:
        status = path.stat()
    except (OSError, ValueError) as error:
        raise RecordingFault(f"{inert(str(path))}: cannot be read: {error_words(error)}.") from None
    if not stat.S_ISREG(status.st_mode):
        raise RecordingFault(f"{inert(str(path))}: is not a file. Name a recording (*.h5).")
    if status.st_size == 0:
        raise RecordingFault(f"{inert(str(path))}: is empty (0 bytes): nothing was ever recorded.")


def _refusal(path: Path, reason: str) -> str:
    return (
        f"{inert(str(path))}: cannot be read as a recording: {reason.rstrip('.')}. "
        f"`pullstand repair` tells what it still holds."
    )


def _recording(path: Path, contents: Contents, sealed: bool) -> Recording:
    rows, events = _committed(contents, sealed)
    return assemble(
        path,
        contents,
        contents.samples[:rows],
        contents.events[:events],
        cut_short=_why_short(contents, rows, sealed),
    )


def _committed(contents: Contents, sealed: bool) -> tuple[int, int]:
    """Return how many rows and events are good: the count of the last commit that holds."""
    commits = contents.commits
    good = len(commits)
    if not sealed:
        holds = good_commits(contents)
        good = int(np.argmin(holds)) if not holds.all() else len(commits)
        if good < len(commits) - 1:
            raise RecordingFault("samples in its middle do not match their checksums")
    if good == 0:
        return 0, 0
    rows, events = int(commits["rows"][good - 1]), int(commits["events"][good - 1])
    if rows > len(contents.samples) or events > len(contents.events):
        raise RecordingFault("it holds fewer samples than were committed")
    return rows, events


def _why_short(contents: Contents, rows: int, sealed: bool) -> str:
    if contents.state == layout.FINISHED and sealed:
        return ""
    if contents.state == layout.OPEN:
        return CUT_SHORT.format(rows=rows)
    if contents.state == layout.FINISHED:
        return "The recording was cut short while it was being closed; every sample is there."
    return contents.ended_because or "The recording ended without a word why."


def assemble(
    path: Path, contents: Contents, samples: np.ndarray, events: np.ndarray, cut_short: str
) -> Recording:
    """Return the recording that ``contents`` make with these good rows. Raises RecordingFault."""
    header = headers.from_json(contents.header_json)
    if samples["counts"].shape[1] != len(header.cells):
        raise RecordingFault("its samples and its header disagree about the number of cells")
    result, zero_after = _result(contents.result_json)
    samples.flags.writeable = False
    return Recording(
        path=path,
        header=header,
        samples=samples,
        events=_events(events),
        events_not_kept=contents.events_not_kept,
        result=MappingProxyType(result),
        zero_after=zero_after,
        history=tuple(_change(text, data) for text, data in contents.history),
        complete=not cut_short,
        cut_short=cut_short,
    )


def _events(rows: np.ndarray) -> tuple[Event, ...]:
    try:
        return event_rows.from_rows(rows)
    except ValueError as error:
        raise RecordingFault(f"an event in it is not readable ({inert(str(error), 80)})") from None


def _result(text: str) -> tuple[dict[str, Any], ZeroRecord | None]:
    if not text:
        return {}, None
    plain = headers.load_mapping(text, "result")
    try:
        return dict(plain["result"]), headers.zero_from_plain(plain["zero_after"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordingFault(f"its result is not usable ({error!r})") from None


def _change(text: str, data: dict[str, np.ndarray]) -> Change:
    plain = headers.load_mapping(text, "history")
    try:
        at = datetime.fromisoformat(plain["at"])
        return Change(at, str(plain["reason"]), MappingProxyType(dict(plain["change"])), data)
    except (KeyError, TypeError, ValueError) as error:
        raise RecordingFault(f"its history is not usable ({error!r})") from None
