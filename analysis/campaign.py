"""Recordings to results: which files, which specimens, one after the other or on all processors.

Results come in order and as they are done, with one file in memory for each process. Processes are
spawned, never forked (HDF5 may hang in a fork); few files are not worth starting any.
"""

import multiprocessing
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from pathlib import Path

from analysis.check_flags import CheckFlags
from analysis.pull_result import PullResult
from analysis.reduction import reduce_recording
from daq.faults import InputFault, RecordingFault
from daq.record.reader import read_recording

FEW_FILES = 60  # starting processes takes about a second
BATCH = 12
AHEAD = 3  # batches a process may be behind the asking


def recording_files(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield the recordings that ``paths`` (files and folders) name, folders in order of name.

    Raises InputFault for a path that is not there and for a folder without recordings.
    """
    for path in paths:
        if not path.exists():
            raise InputFault(f"{path} is not there. Name a recording (.h5) or a folder of them.")
        if not path.is_dir():
            yield path
            continue
        files = sorted(path.glob("*.h5"))
        if not files:
            raise InputFault(f"{path} holds no recordings (*.h5).")
        yield from files


def load_results(paths: Sequence[Path], where: Mapping[str, str] | None = None) -> list[PullResult]:
    """Reduce every recording of ``paths`` whose specimen matches all of ``where``.

    Raises InputFault or RecordingFault for the first file that cannot be read, InputFault where
    nothing matches.
    """
    results = []
    for outcome in reduce_many(tuple(recording_files(paths)), where or {}, processes=1):
        if outcome.fault:
            raise (RecordingFault if outcome.exit_code == RecordingFault.exit_code else InputFault)(
                outcome.fault
            )
        if outcome.result is not None:
            results.append(outcome.result)
    if where and not results:
        raise no_match(where)
    return results


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one file: a result, or none (another specimen was asked for), or a fault."""

    file: Path
    result: PullResult | None
    started_at: datetime | None
    fault: str = ""
    exit_code: int = 0


def reduce_many(
    files: Sequence[Path], where: Mapping[str, str], processes: int | None = None
) -> Iterator[Outcome]:
    """Yield the outcome of each file, in order. ``processes``: 1 for this one alone."""
    checks = CheckFlags()
    for outcome in _outcomes(files, where, processes or os.cpu_count() or 1):
        if outcome.result is None or outcome.started_at is None:
            yield outcome
        else:
            yield replace(outcome, result=checks.on(outcome.result, outcome.started_at))


def _outcomes(files: Sequence[Path], where: Mapping[str, str], processes: int) -> Iterator[Outcome]:
    if processes < 2 or len(files) < FEW_FILES:
        yield from (reduce_file(file, where) for file in files)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield from _in_order(pool, files, dict(where), processes * AHEAD)


def reduce_file(file: Path, where: Mapping[str, str]) -> Outcome:
    """Return the outcome of one file; a file that cannot be read is told, not raised."""
    try:
        recording = read_recording(file)
        started_at = recording.header.started_at
        if not matches(recording.header.specimen, where):
            return Outcome(file, None, started_at)
        return Outcome(file, reduce_recording(recording, file), started_at)
    except (RecordingFault, InputFault) as fault:
        return Outcome(file, None, None, str(fault), fault.exit_code)


def _batch(files: Sequence[Path], where: Mapping[str, str]) -> list[Outcome]:
    return [reduce_file(file, where) for file in files]


def _in_order(
    pool: ProcessPoolExecutor, files: Sequence[Path], where: Mapping[str, str], ahead: int
) -> Iterator[Outcome]:
    """Keep a few batches in hand, no more: memory does not grow with the number of files."""
    batches = (files[start : start + BATCH] for start in range(0, len(files), BATCH))
    waiting: list[Future[list[Outcome]]] = [
        pool.submit(_batch, batch, where) for batch in islice(batches, ahead)
    ]
    try:
        while waiting:
            done = waiting.pop(0).result()
            waiting += [pool.submit(_batch, batch, where) for batch in islice(batches, 1)]
            yield from done
    finally:
        for future in waiting:
            future.cancel()


def matches(specimen: Mapping[str, str | float], where: Mapping[str, str]) -> bool:
    """Whether every key of ``where`` has that value: the same text, or the same number."""
    return all(key in specimen and same(specimen[key], value) for key, value in where.items())


def same(have: str | float, want: str) -> bool:
    """Whether a recorded value is what a person typed: ``8`` and ``8.0`` are the same number."""
    if str(have) == want:
        return True
    try:
        return float(have) == float(want)
    except ValueError:
        return False


def parse_where(texts: Sequence[str]) -> dict[str, str]:
    """Return ``key=value`` texts as a mapping. Raises InputFault."""
    pairs = [text.partition("=") for text in texts]
    for text, (key, equals, _) in zip(texts, pairs, strict=True):
        if not key or not equals:
            raise InputFault(f"--where {text!r}: write key=value, such as series=inserts.")
    return {key.strip(): value.strip() for key, _, value in pairs}


def no_match(where: Mapping[str, str]) -> InputFault:
    """Return the fault of a ``--where`` that leaves no recording."""
    wanted = " and ".join(f"{key}={value}" for key, value in where.items())
    return InputFault(f"No recording matches {wanted}.")
