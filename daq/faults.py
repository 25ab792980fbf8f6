"""Everything that can go wrong, as a tree; each fault says what, where and what to do.

Fault                      exit code
 +- InputFault             2   a file or an option is not usable (file, line, key named)
 +- DeviceFault            3   no port, port busy, port lost
 +- StoppedByGuard         4   the stop guard ended the pull
 +- RecordingFault         5   a recording is damaged, foreign, or may not be written
"""

from collections.abc import Sequence
from dataclasses import dataclass


class Fault(Exception):  # noqa: N818 - a fault of the set-up, not of the code
    """A fault a person can act on. ``str(fault)`` is one or more clear sentences."""

    exit_code = 1


class DeviceFault(Fault):
    """No device, a busy one, or a device that went away."""

    exit_code = 3


class StoppedByGuard(Fault):
    """The stop guard ended the pull."""

    exit_code = 4


class RecordingFault(Fault):
    """A recording that cannot be read or written."""

    exit_code = 5


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in an input file: where it is, what was found, what is meant."""

    file: str
    line: int | None
    key: str
    message: str

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.key}: {self.message}" if self.key else f"{place}: {self.message}"


class InputFault(Fault):
    """An input file or option that cannot be used; carries every problem found, not the first."""

    exit_code = 2

    def __init__(self, problems: Sequence[Problem] | str) -> None:
        self.problems: tuple[Problem, ...] = () if isinstance(problems, str) else tuple(problems)
        text = problems if isinstance(problems, str) else "\n".join(map(str, self.problems))
        super().__init__(text)
