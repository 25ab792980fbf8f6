"""START HERE: from a recording to a result, through the same functions as live.

samples -> force and phases (`pull_curve`) -> strokes, rests, yield, fall (`landmarks`) -> proposed
mode, doubts, uncertainty -> one PullResult. A person's word wins over a rule; both are kept.

A pull whose course says that the grip slipped is called invalid by proposal (``kind_by`` is
"proposed", the flag "grip slipped?" stands beside it): its maximum says nothing about the specimen.
It counts as soon as a person says so, by a mode or by taking the discard back.
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from analysis import doubts
from analysis.failure_mode import NO_PROPOSAL, Proposal, propose_mode
from analysis.landmarks import Landmarks, find_landmarks
from analysis.person_words import NOT_THE_SPECIMEN, PersonWords, person_words
from analysis.pull_curve import PullCurve, pull_curve
from analysis.pull_result import Course, Kind, PullResult, ThreadFigures
from analysis.recorded_budget import recorded_budget, recorded_rig, unseen_peak_n
from analysis.recorded_chain import amendments
from analysis.thread import (
    bite,
    head_strength_mpa,
    strength_on_cylinder_mpa,
    strength_on_d_l_mpa,
)
from analysis.travel import Travelled, number, travelled
from analysis.uncertainty.specimen_force import Budget
from daq.live_reading import Phase
from daq.record.reader import Recording

__all__ = ["PullCurve", "pull_curve", "reduce_recording"]

NAN = float("nan")
STOPPED_WHOLE = "stopped whole"
MOVED = "moved by hand"


def reduce_recording(recording: Recording, file: Path) -> PullResult:
    """Return the result of one recording. A recording without samples gives NaN and a flag."""
    if not len(recording.samples):
        return _empty(recording, file)
    return reduce_curve(pull_curve(recording), recording, file)[0]


def reduce_curve(
    curve: PullCurve, recording: Recording, file: Path
) -> tuple[PullResult, Budget | None]:
    """Return the result of a curve with its uncertainty budget (None where there is none)."""
    header, words = recording.header, person_words(recording)
    marks = find_landmarks(curve)
    budget = recorded_budget(curve, marks, recording)
    proposal = propose_mode(marks, curve.outcome, curve.peak.force_n)
    kind, kind_by, reason = _kind(curve, marks, recording, words, proposal)
    course = _course(curve, marks, recording, words)
    yield_n = _yield_n(course, curve, words)
    result = PullResult(
        file=file,
        specimen=header.specimen,
        kind=kind,
        mode=words.mode or proposal.mode,
        max_force_n=curve.peak.force_n,
        u_max_force_n=budget.u_n if budget else NAN,
        U95_max_force_n=budget.U95_n if budget else NAN,
        time_to_max_s=curve.peak.seconds - curve.began_s,
        yield_force_n=yield_n,
        cracks=len(curve.crack_marks),
        f_per_mm_n=curve.peak.force_n / number(header.specimen, "penetration_mm"),
        flags=(),
        reason=reason,
        chain=curve.chain.words(recording.samples["counts"][curve.top]) if curve.top >= 0 else "",
        extra={
            "spikes": curve.peak.spikes,
            "samples": len(recording.samples),
            "amended": amendments(recording),
        },
        kind_by=kind_by,
        mode_by="person" if words.mode else "proposed" if proposal.mode else "",
        proposed_mode=proposal.mode,
        evidence=proposal.evidence,
        course=course,
        thread=_thread(curve.peak.force_n, header.specimen),
    )
    flags = doubts.doubts(curve, marks, recording)
    return replace(result, flags=(*flags, *_open_questions(result))), budget


def _kind(
    curve: PullCurve,
    marks: Landmarks,
    recording: Recording,
    words: PersonWords,
    proposal: Proposal,
) -> tuple[Kind, str, str]:
    """Return kind, by whom, and the reason where it is invalid."""
    if words.invalid:
        return Kind.INVALID, "person", words.invalid
    if words.mode in NOT_THE_SPECIMEN:
        return Kind.INVALID, "person", words.mode
    if words.mode == STOPPED_WHOLE:
        return Kind.AT_LEAST, "person", ""
    if doubts.is_touch(curve, recording.header.stop_n):
        return Kind.PARTIAL, "rule", ""
    if proposal.grip_slipped and not words.mode and not words.counts:
        reason = f"looks as if the grip slipped: {proposal.evidence[0]}. Nobody has confirmed it."
        return Kind.INVALID, "proposed", reason
    return _kind_by_rule(curve, marks, recording), "rule", ""


def _kind_by_rule(curve: PullCurve, marks: Landmarks, recording: Recording) -> Kind:
    if curve.outcome is Phase.EASED:
        return Kind.AT_LEAST if recording.complete else Kind.PARTIAL
    in_doubt = (
        doubts.longest_gap_s(curve) > doubts.LONG_GAP_S
        or marks.rest_before_maximum_s > doubts.LONG_REST_S
    )
    return Kind.FAILED if curve.outcome is Phase.PARTED and not in_doubt else Kind.PARTIAL


def _course(curve: PullCurve, marks: Landmarks, recording: Recording, words: PersonWords) -> Course:
    way = _travelled(curve, marks, recording)
    rule, found_n, sure = _found_yield(marks, way)
    moved = words.moved.get("yield")
    at = _sample_of(recording, moved.index) if moved else _reached(curve, found_n)
    fall = marks.fall
    return Course(
        median3_max_force_n=curve.peak.median3_n,
        unseen_peak_n=unseen_peak_n(curve, marks),
        started_s=curve.began_s,
        strokes=len(marks.strokes),
        start_stiffness_n_per_stroke=marks.gain_per_stroke_n,
        start_stiffness_n_per_mm=way.stiffness_n_per_mm,
        yield_rule=MOVED if moved else rule,
        yield_confidence=NAN if moved else sure,
        yield_found_n=found_n,
        yield_s=NAN if at is None else float(curve.seconds[at]) - curve.began_s,
        rests=len(marks.rests),
        longest_rest_s=marks.longest_rest_s,
        rest_before_max_s=marks.rest_before_maximum_s,
        relaxation_per_decade=marks.relaxation_per_decade(curve.peak.force_n),
        drop_n=fall.drop_n,
        drop_s=fall.drop_s,
        residual_n=fall.residual_n,
        lowest_after_n=fall.lowest_n,
        energy_to_max_j=way.energy_to_max_j,
    )


def _travelled(curve: PullCurve, marks: Landmarks, recording: Recording) -> Travelled:
    rig = recorded_rig(recording.header.rig.text)
    if rig is None or curve.top < 0:
        return Travelled()
    mm_per_turn = rig.jack.lead_mm / curve.chain.lever.ratio
    specimen = recording.header.specimen
    return travelled(curve.forces.at_specimen_n, marks.strokes, specimen, mm_per_turn)


def _found_yield(marks: Landmarks, way: Travelled) -> tuple[str, float, float]:
    """Return the rule that speaks, its force, how sure it is: travel, then strokes, then rests."""
    if math.isfinite(way.offset_yield_n):
        return "travel offset", way.offset_yield_n, 0.9
    if math.isfinite(marks.yields.force_n):
        return "stroke gain", marks.yields.force_n, marks.yields.sure
    if math.isfinite(marks.rest_loss_yield_n):
        return "rest loss", marks.rest_loss_yield_n, 0.3
    return "", NAN, NAN


def _yield_n(course: Course, curve: PullCurve, words: PersonWords) -> float:
    if "yield" not in words.moved:
        return course.yield_found_n
    at = int(np.searchsorted(curve.seconds - curve.began_s, course.yield_s))
    return float(curve.forces.at_specimen_n[min(at, len(curve.seconds) - 1)])


def _reached(curve: PullCurve, force_n: float) -> int | None:
    """Return the sample that first reaches a force, None where none does."""
    reached = curve.forces.at_specimen_n[curve.first :] >= force_n
    return curve.first + int(np.argmax(reached)) if reached.any() else None


def _sample_of(recording: Recording, index: int) -> int:
    place = int(np.searchsorted(recording.samples["index"], index))
    return min(place, len(recording.samples) - 1)


def _thread(force_n: float, specimen: Mapping[str, str | float]) -> ThreadFigures:
    major, minor, pilot, length, head = (
        number(specimen, key)
        for key in ("major_mm", "minor_mm", "pilot_mm", "penetration_mm", "head_mm")
    )
    sizes = math.isfinite(major) and minor < major
    found = bite(major, minor, pilot) if sizes and math.isfinite(pilot) else None
    return ThreadFigures(
        strength_d_l_mpa=strength_on_d_l_mpa(force_n, major, length),
        strength_pi_d_l_mpa=strength_on_cylinder_mpa(force_n, major, length),
        head_strength_mpa=head_strength_mpa(force_n, head),
        bite_mm=found.bite_mm if found else NAN,
        engagement_pct=found.engagement_pct if found else NAN,
    )


def _open_questions(result: PullResult) -> list[str]:
    """Return a word for each figure that is missing or waits for a person."""
    missing = {
        "grip slipped?": result.kind_by == "proposed",
        "yield moved by hand": result.course.yield_rule == MOVED,
        "uncertainty unknown": math.isnan(result.U95_max_force_n),
        "no start seen": math.isnan(result.time_to_max_s),
        "no yield seen": math.isnan(result.yield_force_n),
        "penetration not given": math.isnan(result.f_per_mm_n),
    }
    return [word for word, is_so in missing.items() if is_so]


def _empty(recording: Recording, file: Path) -> PullResult:
    flags = (doubts.NO_SAMPLES, doubts.CUT_SHORT) if recording.cut_short else (doubts.NO_SAMPLES,)
    return PullResult(
        file=file,
        specimen=recording.header.specimen,
        kind=Kind.PARTIAL,
        mode=NO_PROPOSAL.mode,
        max_force_n=NAN,
        u_max_force_n=NAN,
        U95_max_force_n=NAN,
        time_to_max_s=NAN,
        yield_force_n=NAN,
        cracks=0,
        f_per_mm_n=NAN,
        flags=flags,
    )
