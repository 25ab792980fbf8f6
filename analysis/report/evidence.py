"""Recordings to what a report shows of them, one file in memory at a time."""

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from analysis.campaign import matches, no_match, recording_files
from analysis.check_flags import CheckFlags
from analysis.pull_curve import PullCurve, pull_curve
from analysis.pull_result import PullResult
from analysis.recorded_budget import recorded_rig
from analysis.recorded_chain import calibration_of, lever_of
from analysis.reduction import reduce_curve, reduce_recording
from analysis.report.thin_curve import ThinCurve, thin
from analysis.uncertainty.specimen_force import Budget
from daq.faults import InputFault, RecordingFault
from daq.force.calibration import Calibration
from daq.force.lever import specimen_force_n
from daq.record.reader import Change as RecordedChange
from daq.record.reader import Recording, read_recording
from daq.rig.rig import Rig

HASH_BLOCK = 1 << 20
AMENDED = "amended"  # the entry of a change that says what a correction did


@dataclass(frozen=True, slots=True)
class Mark:
    """A place on a curve: maximum, yield or crack. Seconds on the pull's clock, force in N."""

    kind: str
    seconds: float
    force_n: float


@dataclass(frozen=True, slots=True)
class Change:
    """Something written to a recording after the pull."""

    at: datetime
    reason: str
    amended: str  # what a correction did, or "" for a person's judgement
    old_n: float  # maximum before and after a correction, NaN for none
    new_n: float


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """One pull as the report shows it."""

    result: PullResult
    budget: Budget | None  # of its maximum
    curve: ThinCurve | None  # None: no samples
    began_s: float  # where the pull starts on the curve's clock
    marks: tuple[Mark, ...]
    verified_n: float  # at the specimen; above it the calibration is extrapolated
    stop_n: float  # as it was set
    ratio: float
    started_at: datetime
    calibration: str  # fingerprint of the one its force comes from
    rig_text: str
    cut_short: str
    changes: tuple[Change, ...]
    session: Mapping[str, str | float]
    program: str
    sha256: str

    @property
    def label(self) -> str:
        """What the specimen is called."""
        return str(self.result.specimen.get("label") or self.result.file.stem)

    @property
    def true_stop_n(self) -> float:
        """The stop as it truly was: what was set, by what corrections made of the maximum since."""
        grown = [
            change.new_n / change.old_n
            for change in self.changes
            if change.old_n > 0.0 and math.isfinite(change.new_n)
        ]
        return self.stop_n * math.prod(grown)

    @property
    def series(self) -> str:
        """The series the pull belongs to, or ""."""
        return str(self.result.specimen.get("series", "")).strip()


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All pulls of a report, oldest first, and what they share by name."""

    pulls: tuple[Shown, ...]
    calibrations: Mapping[str, Calibration]  # by fingerprint
    rigs: Mapping[str, Rig | None]  # by the text of the rig file; None: it cannot be read
    unreadable: tuple[tuple[str, str], ...] = ()  # file and why: told, never passed over


def gather(paths: Sequence[Path], where: Mapping[str, str] | None = None) -> Evidence:
    """Return what the recordings of ``paths`` show, where their specimen matches ``where``.

    A recording that cannot be read is told beside the others. Raises InputFault where nothing
    matches, and the fault of the first file where none can be read.
    """
    pulls: list[Shown] = []
    calibrations: dict[str, Calibration] = {}
    rigs: dict[str, Rig | None] = {}
    checks, faults = CheckFlags(), []
    for file in _each_once(paths):
        try:
            recording = read_recording(file)
            if not matches(recording.header.specimen, where or {}):
                continue
            calibration = calibration_of(recording)
            pulls.append(_shown(file, recording, calibration, checks))
        except (InputFault, RecordingFault) as fault:
            faults.append((file.name, fault))
            continue
        calibrations.setdefault(calibration.fingerprint, calibration)
        text = recording.header.rig.text
        rigs.setdefault(text, recorded_rig(text))
    if not pulls and faults:
        raise faults[0][1]
    if not pulls:
        raise no_match(where or {})
    pulls.sort(key=lambda shown: (shown.started_at, shown.result.file.name))
    told = tuple((name, str(fault)) for name, fault in faults)
    return Evidence(tuple(pulls), calibrations, rigs, told)


def _each_once(paths: Sequence[Path]) -> Iterator[Path]:
    """Yield each recording once, however often it is named."""
    seen: set[Path] = set()
    for file in recording_files(paths):
        if file.resolve() not in seen:
            seen.add(file.resolve())
            yield file


def _shown(file: Path, recording: Recording, calibration: Calibration, checks: CheckFlags) -> Shown:
    header = recording.header
    curve, budget = None, None
    if len(recording.samples):
        curve = pull_curve(recording)
        result, budget = reduce_curve(curve, recording, file)
    else:
        result = reduce_recording(recording, file)
    return Shown(
        result=checks.on(result, header.started_at),
        budget=budget,
        curve=_thin(curve) if curve else None,
        began_s=_began_s(curve),
        marks=_marks(curve, result) if curve else (),
        verified_n=_verified_n(curve, calibration),
        stop_n=header.stop_n,
        ratio=lever_of(recording).ratio,
        started_at=header.started_at,
        calibration=calibration.fingerprint,
        rig_text=header.rig.text,
        cut_short=recording.cut_short,
        changes=tuple(_change(change) for change in recording.history),
        session=header.session,
        program=header.program_version,
        sha256=sha256(file),
    )


def _change(change: RecordedChange) -> Change:
    held = change.change
    old_n, new_n = (
        float(value) if isinstance(value, int | float) else math.nan
        for value in (held.get("old_max_force_n"), held.get("new_max_force_n"))
    )
    return Change(change.at, change.reason, str(held.get(AMENDED, "")), old_n, new_n)


def _thin(curve: PullCurve) -> ThinCurve:
    """Return the pull without what stood before it."""
    own = slice(curve.first, None)
    return thin(curve.seconds[own], curve.forces.at_specimen_n[own], curve.flags[own])


def _began_s(curve: PullCurve | None) -> float:
    if curve is None:
        return math.nan
    return curve.began_s if math.isfinite(curve.began_s) else float(curve.seconds[curve.first])


def _marks(curve: PullCurve, result: PullResult) -> tuple[Mark, ...]:
    """Return the maximum, the yield and the cracks."""
    marks = []
    if math.isfinite(curve.peak.force_n):
        marks.append(Mark("maximum", float(curve.peak.seconds), float(curve.peak.force_n)))
    if math.isfinite(result.yield_force_n) and math.isfinite(result.course.yield_s):
        at = curve.began_s + result.course.yield_s
        marks.append(Mark("yield", at, float(result.yield_force_n)))
    marks += [Mark("crack", h.seconds, h.force_n) for h in curve.crack_marks]
    return tuple(marks)


def _verified_n(curve: PullCurve | None, calibration: Calibration) -> float:
    if curve is None:
        return math.nan
    return specimen_force_n(calibration.verified_to_n, curve.chain.lever, calibration.load_at)


def sha256(file: Path) -> str:
    """Return the SHA-256 of a file's bytes, in hexadecimal digits."""
    digest = hashlib.sha256()
    with file.open("rb") as stream:
        while block := stream.read(HASH_BLOCK):
            digest.update(block)
    return digest.hexdigest()
