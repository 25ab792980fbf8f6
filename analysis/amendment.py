"""A correction found later, put beside what stood before, in every pull of a build.

Nothing is overwritten: a recording keeps the calibration and ratio it was made with, each later
change with its date and reason, and the results of before. What is read newest is what holds.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from analysis.campaign import recording_files
from analysis.pull_result import PullResult
from analysis.recorded_chain import CALIBRATION, RATIO, WHAT, calibration_of, chain_of
from analysis.reduction import reduce_recording
from daq.faults import InputFault, RecordingFault
from daq.force.calibration import Calibration
from daq.force.force_chain import ForceChain
from daq.force.mass_correction import with_masses
from daq.record.history import add_history
from daq.record.reader import Change, Recording, read_recording
from daq.record.seal import Seal, read_seal
from daq.rig.load_path import LoadPath, at_ratio, load_path
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig_text

OTHER_BUILD = "is of build {}"
CARRIED = "carries this amendment already"
_ROUNDS = 20


@dataclass(frozen=True, slots=True)
class Correction:
    """What is corrected, and why. One of calibration and masses at most."""

    reason: str
    calibration: Calibration | None = None
    masses: float | None = None  # every mass of the calibration is so many times what was said
    ratio: float | None = None
    note: str = ""

    @property
    def words(self) -> str:
        """What it does, as it is written into each recording."""
        parts = []
        if self.calibration is not None:
            parts.append(f"calibration {self.calibration.fingerprint}")
        if self.masses is not None:
            parts.append(f"masses x{self.masses:.10g}")
        if self.ratio is not None:
            parts.append(f"ratio {self.ratio:.10g}")
        if self.note:
            parts.append(f"note: {self.note}")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop that pulls were made under, and what it truly was. N at the specimen."""

    build: str
    stop_n: float
    true_stop_n: float
    weakest: str
    limit_n: float
    stop_allowed_n: float
    largest_n: float  # the largest maximum under this stop, as amended

    @property
    def exceeded(self) -> bool:
        """Whether the stop, or a pull, lay above the weakest part's limit."""
        return max(self.true_stop_n, self.largest_n) > self.limit_n

    @property
    def words(self) -> str:
        """The finding in a sentence."""
        kn = [f"{n / 1000:.2f} kN" for n in (self.stop_n, self.true_stop_n, self.limit_n)]
        found = (
            "the limit was EXCEEDED: look the rig over before the next pull"
            if self.exceeded
            else f"not exceeded, but above the {self.stop_allowed_n / 1000:.2f} kN this rig allows"
            if self.true_stop_n > self.stop_allowed_n
            else "not exceeded"
        )
        return (
            f"build {self.build}: the stop of {kn[0]} was truly {kn[1]} against {kn[2]} of the "
            f"weakest part ({self.weakest}): {found}"
        )


@dataclass(frozen=True, slots=True, eq=False)
class Amended:
    """A recording with its correction, before it is written."""

    file: Path
    before: PullResult
    after: PullResult
    build: str
    stop_n: float
    change: Change | None  # None: it stays as it is, and ``left`` says why
    left: str = ""
    true_stop_n: float = math.nan
    path: LoadPath | None = None


def plan_amendment(paths: Sequence[Path], correction: Correction) -> list[Amended]:
    """Return what the correction makes of every recording; nothing is written yet.

    Raises InputFault (nothing to correct, builds mixed, a calibration of another build) and
    RecordingFault (a recording that nothing can be added to).
    """
    if not correction.words:
        raise InputFault("nothing to amend: give --calibration, --masses, --ratio or --note")
    if not correction.reason.strip():
        raise InputFault("--reason: an amendment needs its reason in words")
    files = list(recording_files(paths))
    loose = [file.name for file in files if read_seal(file)[0] is not Seal.WHOLE]
    if loose:
        raise RecordingFault(
            f"{', '.join(loose)}: cut short or changed, so nothing can be added. Nothing was "
            "written. Make sound copies first (pullstand repair FILE -o COPY) and name those."
        )
    found = [_amended(read_recording(file), file, correction) for file in files]
    builds = sorted({one.build for one in found if one.change is not None})
    if len(builds) > 1:
        raise InputFault(
            f"these are pulls of the builds {', '.join(builds)}, and a correction belongs to one: "
            "name the recordings of that build"
        )
    if all(one.left == OTHER_BUILD.format(one.build) for one in found):
        build = correction.calibration.rig_build if correction.calibration else ""
        raise InputFault(f"no recording is of build {build}, which the calibration was made on")
    return found


def write_amendment(amended: Sequence[Amended]) -> None:
    """Add the changes to the recordings. Raises RecordingFault, saying how far it came.

    Asked for the same correction again, `plan_amendment` passes over those that carry it.
    """
    todo = [one for one in amended if one.change is not None]
    for done, one in enumerate(todo):
        assert one.change is not None
        try:
            add_history(one.file, one.change.change, one.change.reason, one.change.data)
        except RecordingFault as fault:
            raise RecordingFault(
                f"{fault} {done} of {len(todo)} recordings were amended; the same command goes "
                "on with the rest."
            ) from None


def stops_of(amended: Sequence[Amended]) -> list[Stop]:
    """Return every stop that amended pulls were made under, with what it truly was."""
    stops: dict[tuple[str, float, float], list[Amended]] = {}
    for one in amended:
        if one.change is not None and math.isfinite(one.true_stop_n):
            key = (one.build, one.stop_n, round(one.true_stop_n, 1))
            stops.setdefault(key, []).append(one)
    found = []
    for (build, stop_n, _), pulls in stops.items():
        path = pulls[0].path
        assert path is not None
        limit_n = path.weakest.limit_at_specimen_n
        assert limit_n is not None
        found.append(
            Stop(
                build=build,
                stop_n=stop_n,
                true_stop_n=pulls[0].true_stop_n,
                weakest=path.weakest.name,
                limit_n=limit_n,
                stop_allowed_n=path.stop_allowed_n,
                largest_n=float(np.nanmax([pull.after.max_force_n for pull in pulls])),
            )
        )
    return found


def _amended(recording: Recording, file: Path, correction: Correction) -> Amended:
    header = recording.header
    before = reduce_recording(recording, file)
    as_it_is = Amended(file, before, before, header.rig.build, header.stop_n, None)
    if _carries(recording, correction):
        return replace(as_it_is, left=CARRIED)
    if correction.calibration is not None:
        build = correction.calibration.rig_build
        if build and build != header.rig.build:
            return replace(as_it_is, left=OTHER_BUILD.format(header.rig.build))
    rig = read_rig_text(header.rig.text, f"rig file in {file.name}")
    draft = _change(recording, rig, correction)
    after_recording = replace(recording, history=(*recording.history, draft))
    after = reduce_recording(after_recording, file)
    old, new = chain_of(recording), chain_of(after_recording)
    forces = {"old_max_force_n": before.max_force_n, "new_max_force_n": after.max_force_n}
    return replace(
        as_it_is,
        after=after,
        change=replace(draft, change={**draft.change, **forces}),
        true_stop_n=_true_force_n(recording, old, new),
        path=load_path(at_ratio(rig, new.lever.ratio)),
    )


def _carries(recording: Recording, correction: Correction) -> bool:
    return any(
        change.change.get(WHAT) == correction.words and change.reason == correction.reason
        for change in recording.history
    )


def _change(recording: Recording, rig: Rig, correction: Correction) -> Change:
    change: dict[str, Any] = {WHAT: correction.words}
    data: dict[str, np.ndarray] = {}
    calibration = None
    if correction.calibration is not None:
        calibration = correction.calibration.bound_to(rig)
    elif correction.masses is not None:
        held = calibration_of(recording)
        calibration = with_masses(held, correction.masses, correction.reason)
    if calibration is not None:
        text = calibration.to_json().encode("utf-8")
        data[CALIBRATION] = np.frombuffer(text, dtype=np.uint8)
        change["calibration_fingerprint"] = calibration.fingerprint
    if correction.ratio is not None:
        change[RATIO] = at_ratio(rig, correction.ratio).lever.ratio
    if correction.note:
        change["note"] = correction.note
    return Change(datetime.now(UTC).astimezone(), correction.reason, change, data)


def _true_force_n(recording: Recording, old: ForceChain, new: ForceChain) -> float:
    """Return what the new chain makes of counts that the old one reads as the stop force.

    The cells share as they did at the largest counts of the pull. NaN without samples.
    """
    counts = recording.samples["counts"]
    if not len(counts):
        return math.nan
    zero = np.array(old.zero.counts)
    net = counts[int(np.argmax(old.forces(counts).at_specimen_n))] - zero
    share, stop_n = 1.0, recording.header.stop_n
    for _ in range(_ROUNDS):
        read_n = float(old.forces((zero + share * net)[None, :]).at_specimen_n[0])
        if not read_n > 0.0:
            return math.nan
        share *= stop_n / read_n
    return float(new.forces((zero + share * net)[None, :]).at_specimen_n[0])
