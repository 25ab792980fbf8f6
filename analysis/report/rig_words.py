"""What stands behind the newtons: calibrations, check weights, corrections, the rig's load path."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.report.evidence import Evidence, Shown
from analysis.report.wording import ForceUnit, listed
from daq.force.calibration import Calibration
from daq.force.calibration_words import statement
from daq.rig.load_path import ROUNDING, STOP_SHARE, LoadPath, at_ratio, load_path
from daq.rig.rig import Rig
from daq.rig.stored_energy import energy_in_words


@dataclass(frozen=True, slots=True)
class CalibrationWords:
    """A calibration that forces of the report come from."""

    fingerprint: str
    pulls: int
    statement: tuple[str, ...]  # in paragraphs
    reach: str  # how far the pulls went beyond what was verified
    made: str


@dataclass(frozen=True, slots=True)
class RigRow:
    """One part of the load path as a row of cells."""

    name: str
    acts_at: str
    limit: str
    used: str
    source: str
    weakest: bool


@dataclass(frozen=True, slots=True)
class RigWords:
    """A rig build that pulls were made on; no rows where its file cannot be read."""

    title: str
    pulls: int
    rows: tuple[RigRow, ...]
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction added after the pulls, and how many carry it."""

    when: str
    what: str
    reason: str
    pulls: int
    example: str


def calibrations(evidence: Evidence, unit: ForceUnit) -> tuple[CalibrationWords, ...]:
    """Return every calibration in use, the one with most pulls first."""
    found = []
    for fingerprint, calibration in evidence.calibrations.items():
        own = [shown for shown in evidence.pulls if shown.calibration == fingerprint]
        found.append(
            CalibrationWords(
                fingerprint,
                len(own),
                tuple((calibration.statement or statement(calibration)).split("\n")),
                _reach(own, calibration, unit),
                calibration.made_on or "a day not noted",
            )
        )
    return tuple(sorted(found, key=lambda words: (-words.pulls, words.fingerprint)))


def _reach(own: Sequence[Shown], calibration: Calibration, unit: ForceUnit) -> str:
    largest = max((s.result.max_force_n for s in own if s.result.valid), default=math.nan)
    verified = max((shown.verified_n for shown in own), default=math.nan)
    if not calibration.verified or not verified > 0.0:
        return "No weights verify any of these forces."
    if not largest > verified:
        return f"All maxima lie within the verified {unit.words(verified)} at the specimen."
    return (
        f"The weights verify up to {unit.words(verified)} at the specimen. The largest maximum, "
        f"{unit.words(largest)}, is extrapolated {largest / verified:.1f} times; the shaded part "
        "of each curve lies beyond."
    )


def check_weights(pulls: Sequence[Shown]) -> tuple[str, ...]:
    """Return the check weights of the sessions, each once with its pulls."""
    found: dict[str, list[Shown]] = {}
    for shown in pulls:
        words = str(shown.session.get("check_weight", "")).strip()
        if words:
            found.setdefault(words, []).append(shown)
    return tuple(f"{_days(own)}: {words}." for words, own in found.items())


def _days(own: Sequence[Shown]) -> str:
    days = list(dict.fromkeys(shown.started_at.date().isoformat() for shown in own))
    return days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"


def corrections(pulls: Sequence[Shown], unit: ForceUnit) -> tuple[Correction, ...]:
    """Return what was corrected after the pulls, oldest first, with one pull as an example."""
    found: dict[tuple[str, str, str], list[tuple[Shown, float, float]]] = {}
    for shown in pulls:
        for change in shown.changes:
            if change.amended:
                key = (change.at.date().isoformat(), change.amended, change.reason)
                found.setdefault(key, []).append((shown, change.old_n, change.new_n))
    return tuple(
        Correction(when, what, reason, len(own), _example(own[0], unit))
        for (when, what, reason), own in sorted(found.items())
    )


def _example(first: tuple[Shown, float, float], unit: ForceUnit) -> str:
    shown, old_n, new_n = first
    if not (math.isfinite(old_n) and math.isfinite(new_n)):
        return ""
    return f"{shown.label} was {unit.words(old_n)}, is {unit.words(new_n)}"


def rigs(evidence: Evidence, unit: ForceUnit) -> tuple[RigWords, ...]:
    """Return every rig build the pulls were made on, in the order of use."""
    found = []
    for text, rig in evidence.rigs.items():
        own = [shown for shown in evidence.pulls if shown.rig_text == text]
        if rig is None:
            words = "The rig file kept with these pulls cannot be read: its limits are not known."
            found.append(RigWords("A rig without a readable rig file", len(own), (), (words,)))
        else:
            path = load_path(at_ratio(rig, own[-1].ratio))
            title = f"{rig.name}, build {rig.build}"
            rows = tuple(_rows(path, unit))
            found.append(RigWords(title, len(own), rows, tuple(_sentences(rig, path, own, unit))))
    return tuple(found)


def _rows(path: LoadPath, unit: ForceUnit) -> Iterator[RigRow]:
    for part in path.parts:
        limit = part.limit_at_specimen_n
        if limit is None:
            words, used = "unknown", "unknown"
        elif math.isinf(limit):
            words, used = "no load", "0\u202f%"
        else:
            words, used = unit.number(limit), f"{100.0 * path.stop_n / limit:.0f}\u202f%"
        yield RigRow(part.name, part.acts_at, words, used, part.source, part is path.weakest)


def _sentences(rig: Rig, path: LoadPath, own: Sequence[Shown], unit: ForceUnit) -> Iterator[str]:
    lever = rig.lever
    where = "at the end" if lever.fulcrum == "end" else "between jack and hook"
    yield (
        f"Lever {path.ratio:.4g}:1 ({lever.jack_arm_mm:g} / {lever.specimen_arm_mm:g} mm, fulcrum "
        f"{where}), the ratio known to {100.0 * path.u_ratio_rel:.2f} % (standard uncertainty)."
    )
    weakest = path.weakest
    assert weakest.limit_at_specimen_n is not None
    yield f"The weakest known part is {weakest.name}: {unit.words(weakest.limit_at_specimen_n)}."
    yield from _stops(path, own, unit)
    if path.unknown:
        yield f"Unknown, so not counted and not safe to forget: {', '.join(path.unknown)}."
    if path.stored_energy_j is not None:
        yield (
            f"At the stop the loaded rig stores about {path.stored_energy_j:.1f} J, "
            f"{energy_in_words(path.stored_energy_j)}; twice the force stores four times as much."
        )
    for caution in path.cautions:
        yield f"{caution[:1].upper()}{caution[1:]}."
    if rig.notes:
        yield f"Notes of the builder: {rig.notes}"


def _stops(path: LoadPath, own: Sequence[Shown], unit: ForceUnit) -> Iterator[str]:
    """Say what the stop was, as set and as corrected since, against what this rig allows."""
    told = dict.fromkeys(_stop(shown, unit) for shown in own)
    true_n, allowed_n = max(shown.true_stop_n for shown in own), path.stop_allowed_n
    verdict = "within it" if true_n <= allowed_n * (1.0 + ROUNDING) else "ABOVE it"
    yield (
        f"The stop was {listed(tuple(told))}; this rig allows {unit.words(allowed_n)} "
        f"({STOP_SHARE:g} of the weakest part), so it was {verdict}."
    )
    reached = max((s.result.max_force_n for s in own), default=math.nan)
    limit = path.weakest.limit_at_specimen_n
    if limit is not None and reached > limit:
        yield (
            f"The largest force recorded, {unit.words(reached)}, was ABOVE the weakest part's "
            "limit: look the rig over before the next pull."
        )


def _stop(shown: Shown, unit: ForceUnit) -> str:
    set_at, truly = unit.words(shown.stop_n), unit.words(shown.true_stop_n)
    return set_at if set_at == truly else f"{set_at} as set, truly {truly} by the correction since"
