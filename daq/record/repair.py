"""What a damaged or cut-short file still holds, and a sound copy of it.

Nothing is guessed: a batch of samples counts as recovered only if its checksum matches. Samples
after a batch that is lost carry the gap mark, as after any other gap.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from daq.faults import RecordingFault
from daq.record import layout
from daq.record.contents import Contents, good_commits, open_contents
from daq.record.events import Event, EventKind
from daq.record.guarded import read_guarded
from daq.record.inert_text import error_words, inert
from daq.record.metadata import empty_file
from daq.record.pull_file import PullFile, publish
from daq.record.reader import Recording, assemble, check_regular
from daq.record.seal import Seal, read_seal
from daq.samples import Flag

#: What a killed recorder can lose at most, where the commits do not tell: one batch.
BATCH_S = 0.25
_COPY_BLOCK = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class RepairReport:
    """What is in the file.

    ``state``: "whole", "cut short" (never finished, or ended early; all that was committed is
    there), "damaged" (something committed is missing or changed) or "unreadable".
    ``lost_estimate_s``: recording time lost, None where nothing can be told. ``findings``: whole
    sentences. ``recording``: what can be had, None where nothing can.
    """

    path: Path
    state: str
    recovered_samples: int
    lost_samples: int
    lost_estimate_s: float | None
    findings: tuple[str, ...]
    recording: Recording | None
    history: tuple[tuple[str, dict[str, np.ndarray]], ...] = ()


def examine(path: Path) -> RepairReport:
    """Look at what a file still holds. Raises RecordingFault only where there is no file."""
    check_regular(path)
    try:
        seal, _ = read_seal(path)
        contents, unread = _contents(path, seal)
        return _report(path, seal, contents, unread)
    except RecordingFault as fault:
        return RepairReport(path, "unreadable", 0, 0, None, (_sentence(str(fault)),), None)
    except OSError as error:
        raise RecordingFault(f"{inert(str(path))}: cannot be read: {error_words(error)}.") from None


def _contents(path: Path, seal: Seal) -> tuple[Contents, str]:
    """Return what can be read, and why it could not be read the ordinary way ("" if it could)."""
    if seal is Seal.WHOLE:
        return open_contents(path, sealed=True), ""
    try:
        return read_guarded(path), ""
    except RecordingFault as fault:
        return read_guarded(path, salvage=True), str(fault)


def _report(path: Path, seal: Seal, contents: Contents, unread: str) -> RepairReport:
    contents, committed = _believable(contents)
    good = good_commits(contents)
    samples, events = _joined(contents, good)
    lost = committed - len(samples)
    state = _state(seal, contents, lost, unread)
    findings = tuple(_findings(seal, contents, good, lost, unread))
    short = "" if state == "whole" else " ".join(findings)
    return RepairReport(
        path=path,
        state=state,
        recovered_samples=len(samples),
        lost_samples=lost,
        lost_estimate_s=lost * _period_s(samples) + _uncommitted_s(contents),
        findings=findings,
        recording=assemble(path, contents, samples, events, cut_short=short),
        history=contents.history,
    )


def _believable(contents: Contents) -> tuple[Contents, int]:
    """Return contents with the commits up to the first senseless one, and the rows there were.

    Where the end of the commits is lost, the length of the tables is the best that can be known.
    """
    rows, events = (contents.commits[name].astype(np.int64) for name in ("rows", "events"))
    falls = np.flatnonzero((np.diff(rows, prepend=0) < 0) | (np.diff(events, prepend=0) < 0))
    if len(falls):
        commits = contents.commits[: falls[0]]
        return replace(contents, commits=commits), len(contents.samples)
    return contents, int(rows[-1]) if len(rows) else 0


def _joined(contents: Contents, good: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return samples and events of the good commits; a sample after a hole carries the gap mark."""
    samples, events = [contents.samples[:0]], [contents.events[:0]]
    row = event = 0
    hole = False
    for commit, sound in zip(contents.commits, good, strict=True):
        rows, ends = int(commit["rows"]), int(commit["events"])
        if sound:
            batch = contents.samples[row:rows].copy()
            if hole and len(batch):
                batch["flags"][0] |= np.uint16(Flag.GAP)
                hole = False
            samples.append(batch)
            events.append(contents.events[event:ends])
        hole = hole or not sound
        row, event = rows, ends
    return np.concatenate(samples), np.concatenate(events)


def _state(seal: Seal, contents: Contents, lost: int, unread: str) -> str:
    if lost or unread or seal is Seal.BROKEN:
        return "damaged"
    whole = seal is Seal.WHOLE and contents.state == layout.FINISHED
    return "whole" if whole else "cut short"


def _findings(
    seal: Seal, contents: Contents, good: np.ndarray, lost: int, unread: str
) -> list[str]:
    said = []
    if unread:
        said.append(f"The ordinary way it cannot be read: {unread}.")
    if seal is Seal.BROKEN:
        said.append("It was changed or damaged after it was closed: its seal does not match.")
    if contents.state == layout.OPEN:
        said.append("It was cut short: never finished, or it is still being written.")
    elif contents.ended_because:
        said.append(_sentence(f"It ended because: {contents.ended_because}"))
    elif seal is Seal.NONE:
        said.append("It was cut short while it was being closed, or another program changed it.")
    if lost:
        said.append(f"{lost} samples are missing or changed; {int(good.sum())} batches are sound.")
    else:
        said.append(f"Every committed sample is there, in {len(good)} batches.")
    return said


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else f"{text}."


def _period_s(samples: np.ndarray) -> float:
    """Return the usual time between samples by the host's clock, in s (0 for fewer than two)."""
    if len(samples) < 2:
        return 0.0
    span_ns = int(samples["arrival_ns"][-1]) - int(samples["arrival_ns"][0])
    steps = int(samples["index"][-1]) - int(samples["index"][0])
    return max(0.0, span_ns * 1e-9 / max(1, steps))


def _uncommitted_s(contents: Contents) -> float:
    """Return what may have come after the last commit: one usual interval between commits, in s."""
    if contents.state != layout.OPEN:
        return 0.0
    intervals = np.diff(contents.commits["host_ns"]) * 1e-9
    return float(np.clip(np.median(intervals), 0.0, BATCH_S)) if len(intervals) else BATCH_S


def write_copy(report: RepairReport, out: Path) -> None:
    """Write a sound copy of what was recovered, marked as such. Never over an existing file.

    Raises RecordingFault where there is nothing to copy, ``out`` exists, or it cannot be written.
    """
    recording = report.recording
    if recording is None:
        raise RecordingFault(
            f"{inert(str(report.path))}: nothing could be recovered. {' '.join(report.findings)}"
        )
    try:
        publish(out, empty_file(recording.header))
    except FileExistsError:
        raise RecordingFault(
            f"{inert(str(out))}: is there already, and nothing is overwritten: name another."
        ) from None
    except OSError as error:
        raise RecordingFault(f"{inert(str(out))}: {error_words(error)}.") from None
    pull = PullFile(out, recording.header)
    for start in range(0, len(recording.samples), _COPY_BLOCK):
        pull.append(recording.samples[start : start + _COPY_BLOCK])
        pull.commit()
    for event in recording.events:
        pull.event(event)
    pull.event(_told(report, recording))
    reason = (
        f"Cut short: a copy of what was left of {report.path.name}. {' '.join(report.findings)}"
    )
    pull.end_recovered(recording.result, recording.zero_after, report.history, reason)


def _told(report: RepairReport, recording: Recording) -> Event:
    index = int(recording.samples["index"][-1]) + 1 if len(recording.samples) else 0
    at_ns = int(recording.samples["arrival_ns"][-1]) if index else recording.header.started_ns
    text = f"recovered; {report.lost_samples} committed samples lost"
    return Event(EventKind.RECORDER, index, at_ns, text, float(report.lost_samples))
