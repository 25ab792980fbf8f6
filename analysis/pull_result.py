"""What one pull came to: the type that reduction makes and every comparison and report takes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

NAN = float("nan")


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
class Course:
    """How the pull went. Forces N at the specimen, times s; NaN where it cannot be had.

    Stiffness, energy and the offset yield per mm need travel: the sample keys ``stroke_turns``
    (turns of the crank in each stroke) and, to take the rig's own share off,
    ``blank_stiffness_n_per_mm`` (at the hook, from a blank pull on a steel dummy).
    """

    median3_max_force_n: float = NAN
    unseen_peak_n: float = NAN  # the true maximum may be higher than the read one by at most this
    started_s: float = NAN  # where the pull begins on the recording's clock
    strokes: int = 0
    start_stiffness_n_per_stroke: float = NAN
    start_stiffness_n_per_mm: float = NAN
    yield_rule: str = ""  # "stroke gain", "rest loss", "travel offset", "moved by hand"
    yield_confidence: float = NAN  # 0 to 1
    yield_found_n: float = NAN  # by rule, where a person has moved it
    yield_s: float = NAN  # since the pull began
    rests: int = 0
    longest_rest_s: float = NAN
    rest_before_max_s: float = NAN
    relaxation_per_decade: float = NAN  # share of the force lost in each tenfold of time at rest
    drop_n: float = NAN
    drop_s: float = NAN  # 10 % to 90 % of the drop
    residual_n: float = NAN  # where the force first came to rest after the drop
    lowest_after_n: float = NAN
    energy_to_max_j: float = NAN


@dataclass(frozen=True, slots=True)
class ThreadFigures:
    """What the maximum is per thread, by each definition in use; NaN without the sizes."""

    strength_d_l_mpa: float = NAN  # F/(d l), EN 1382
    strength_pi_d_l_mpa: float = NAN  # F/(pi d l), used by many papers
    head_strength_mpa: float = NAN  # F/d_h^2, EN 1383
    bite_mm: float = NAN
    engagement_pct: float = NAN


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
    kind_by: str = "rule"  # "rule", "person", or "proposed": a person has to confirm it
    mode_by: str = ""  # "person", "proposed", or "" without a mode
    proposed_mode: str = ""
    evidence: tuple[str, ...] = ()  # for the proposed mode
    course: Course = Course()
    thread: ThreadFigures = ThreadFigures()

    @property
    def censored(self) -> bool:
        """Whether the maximum is only a lower bound of the strength."""
        return self.kind is Kind.AT_LEAST

    @property
    def valid(self) -> bool:
        """Whether the pull may enter a comparison."""
        return self.kind is not Kind.INVALID
