"""A folder of recordings as a list of results."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from analysis.check_flags import CheckFlags
from analysis.pull_result import PullResult
from analysis.reduction import reduce_recording
from daq.faults import InputFault
from daq.record.reader import read_recording


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
    """Reduce every recording of ``paths`` whose specimen matches all of ``where``."""
    results, checks = [], CheckFlags()
    for file in recording_files(paths):
        recording = read_recording(file)
        if matches(recording.header.specimen, where or {}):
            result = reduce_recording(recording, file)
            results.append(checks.on(result, recording.header.started_at))
    return results


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
