"""What one pull came to: the type that reduction makes and every comparison and report takes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path


class Kind(StrEnum):
    """How a pull counts."""

    FAILED = "failed"
    AT_LEAST = "at least"  # ended whole: the strength is above the maximum (right-censored)
    PARTIAL = "partial"  # a maximum whose worth is in doubt; see flags
    INVALID = "invalid"  # kept, counted, with a reason; never in a mean


#: Failure modes a person can pick. Names of EN 1995-1-1 8.7.2(1) and of common practice.
MODES = (
    "withdrawal",
    "thread strip-out",
    "fibre plug",
    "head pull-through",
    "splitting",
    "fastener fracture",
    "insert turned out",
    "nail slid",
    "grip slipped",
    "rig part failed",
    "stopped whole",
)


@dataclass(frozen=True, slots=True)
class PullResult:
    """One pull, reduced. Forces in N at the specimen, times in s; NaN where it cannot be had."""

    file: Path
    specimen: Mapping[str, str | float]  # label, series, species, board, pilot_mm, ...
    kind: Kind
    mode: str  # one of MODES, or "" while nobody has judged
    max_force_n: float
    u_max_force_n: float  # standard uncertainty
    U95_max_force_n: float
    time_to_max_s: float
    yield_force_n: float
    cracks: int
    f_per_mm_n: float  # maximum per mm of engaged thread (N/mm)
    flags: tuple[str, ...] = ()
    reason: str = ""  # why invalid
    chain: str = ""  # "counts -> at the cells x ratio = at the specimen"
    extra: Mapping[str, float | str] = field(default_factory=dict)

    @property
    def censored(self) -> bool:
        """Whether the maximum is only a lower bound of the strength."""
        return self.kind is Kind.AT_LEAST

    @property
    def valid(self) -> bool:
        """Whether the pull may enter a comparison."""
        return self.kind is not Kind.INVALID
