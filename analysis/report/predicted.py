"""What published formulas expect of these pulls, beside what was measured; it judges no pull."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from analysis.plan_expectation import as_keys, read_expectation
from analysis.predictions import ask, keys
from analysis.predictions.formulas import BY_KIND
from analysis.predictions.prediction import Prediction
from analysis.pull_result import PullResult
from analysis.report.wording import ForceUnit
from daq.faults import InputFault

#: Words in a fastener's name -> kind of formula; the first that is found counts.
NAMES = {
    "coach screw": "lag-screw",
    "lag": "lag-screw",
    "insert": "",
    "wood screw": "wood-screw",
    "nail": "nail",
}
HEAD_MODE = "head pull-through"


@dataclass(frozen=True, slots=True)
class Expected:
    """One published formula for one kind of specimen. Forces as text with units."""

    what: str  # fastener and species
    kind_of_value: str
    expected: str
    measured: str
    source: str
    basis: str
    notes: tuple[str, ...]


def expected(results: Sequence[PullResult], unit: ForceUnit) -> tuple[Expected, ...]:
    """Return what each published formula gives for the valid pulls, by fastener and species."""
    groups: dict[tuple[str, str, str], list[PullResult]] = {}
    for result in results:
        kind = _kind(result)
        if result.valid and kind and math.isfinite(result.max_force_n):
            fastener = str(result.specimen.get("fastener", kind))
            groups.setdefault((kind, fastener, str(result.specimen.get("species", ""))), []).append(
                result
            )
    return tuple(
        found
        for (kind, *names), own in groups.items()
        for source in BY_KIND[kind]
        for found in _by(source, kind, ", ".join(filter(None, names)), own, unit)
    )


def _kind(result: PullResult) -> str:
    if result.mode == HEAD_MODE:
        return HEAD_MODE.replace(" ", "-")
    name = str(result.specimen.get("fastener", "")).casefold()
    return next((kind for words, kind in NAMES.items() if words in name), "")


def _by(
    source: str, kind: str, what: str, own: Sequence[PullResult], unit: ForceUnit
) -> Iterator[Expected]:
    """Yield one line where the source can be asked with what is known of every pull."""
    found = [_ask(source, kind, result.specimen) for result in own]
    forces = [force for force, _ in found]
    if not all(map(math.isfinite, forces)):
        return
    first = found[0][1]
    assert first is not None
    least = any(result.censored for result in own)
    yield Expected(
        what=what,
        kind_of_value=str(first.kind_of_value),
        expected=_range(forces, unit),
        measured=_range([result.max_force_n for result in own], unit, at_least=least),
        source=first.source,
        basis=first.basis,
        notes=_notes([each for _, each in found if each is not None]),
    )


def _notes(found: Sequence[Prediction]) -> tuple[str, ...]:
    """Return what holds for every pull, and one example of what differs from board to board."""
    every = [note for note in found[0].warnings if all(note in each.warnings for each in found)]
    own = [note for note in found[0].warnings if note not in every]
    beyond = () if all(each.valid for each in found) else ("OUTSIDE its published range",)
    told = (*beyond, *every, *(f"{note}; the other boards likewise" for note in own))
    return tuple(_sentence(note) for note in told)


def _sentence(note: str) -> str:
    """Return a note with a capital, but for a key of a specimen, which is written as it is."""
    return note if "_" in note.split(" ", maxsplit=1)[0] else f"{note[:1].upper()}{note[1:]}"


def _ask(
    source: str, kind: str, specimen: Mapping[str, str | float]
) -> tuple[float, Prediction | None]:
    """Return the force of a formula and the formula; NaN where too little is known."""
    known = {key: value for key, value in specimen.items() if value != ""}
    try:
        inputs = keys.read_mapping(as_keys(known, read_expectation(f"{kind} source={source}")))
        found = ask.predict(kind, inputs)
    except InputFault:
        return math.nan, None
    if found.unit == "N":
        return found.value, found
    return found.value * inputs.numbers.get("l_mm", math.nan), found


def _range(forces: Sequence[float], unit: ForceUnit, *, at_least: bool = False) -> str:
    low, high = unit.number(min(forces)), unit.number(max(forces))
    sign = "≥\u202f" if at_least else ""
    if low == high:
        return f"{sign}{unit.words(max(forces))}"
    return f"{low} to {sign}{unit.words(max(forces))}"
