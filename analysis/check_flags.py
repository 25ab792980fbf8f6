"""Pulls that a failed check weight puts in doubt: flagged wherever they are reduced."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from analysis.pull_result import PullResult
from daq.force.check_weight import Check
from daq.force.checks_file import DOUBT, flags_from_checks, read_check_weights


class CheckFlags:
    """The check weights kept beside recordings, each folder read once."""

    def __init__(self) -> None:
        self._checks: dict[Path, tuple[Check, ...]] = {}

    def on(self, result: PullResult, started_at: datetime) -> PullResult:
        """Return the result with the flag of a failed check beside it. Raises InputFault."""
        folder = result.file.parent
        if folder not in self._checks:
            self._checks[folder] = read_check_weights(folder)
        flags = flags_from_checks(self._checks[folder], started_at)
        return replace(result, flags=(*result.flags, *flags)) if flags else result


def in_doubt(result: PullResult) -> bool:
    """Whether a failed check weight stands beside this pull."""
    return any(flag.startswith(DOUBT) for flag in result.flags)
