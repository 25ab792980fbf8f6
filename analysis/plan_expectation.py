"""What a planned pull may come to, against the rig's stop: a stated force, or a published formula.

It serves range and pace, and says early which pulls would end whole at the stop. It judges none.
"""

import math
from dataclasses import dataclass, replace

from analysis.campaign_plan import PlannedPull, Values
from analysis.predictions import ask, keys
from analysis.predictions.formulas import BY_KIND
from analysis.predictions.prediction import KindOfValue, Prediction
from daq import units
from daq.faults import InputFault

#: Specimen key -> key of a prediction. Of keys that fill the same one the first counts.
_SAME = {
    "shank_mm": "d_mm",
    "diameter_mm": "d_mm",
    "major_mm": "d_mm",
    "penetration_mm": "l_mm",
    "minor_mm": "root_mm",
    "thickness_mm": "t_mm",
}
_WOOD_ITSELF = ("G12", "G0", "Gb", "rho_k", "density_kg_m3")


@dataclass(frozen=True, slots=True)
class Expectation:
    """A force in N that a person states, or a kind of fastener with the keys of its formula."""

    text: str
    force_n: float = math.nan
    kind: str = ""
    pairs: tuple[str, ...] = ()


def read_expectation(text: str) -> Expectation:
    """Return what "4.5 kN" or "lag-screw source=handbook grain=end" stands for.

    Raises:
        InputFault: neither a force nor a kind of fastener, or a key not known.
    """
    kind, *pairs = text.split()
    if kind in BY_KIND:
        keys.read_pairs(pairs)
        return Expectation(text, kind=kind, pairs=tuple(pairs))
    try:
        force = units.parse_force_n(text)
    except ValueError as error:
        raise InputFault(f"expect: {error}; or a kind of fastener: {', '.join(BY_KIND)}") from None
    if not force > 0.0:
        raise InputFault(f'expect: "{text}" must be above 0')
    return Expectation(text, force_n=force)


def expect(pull: PlannedPull, expectation: Expectation, stop_n: float) -> PlannedPull:
    """Return the pull with its expected force (N), its share of the stop, and a note.

    Where too little is known of the specimen the force is NaN and the note says what is missing.
    """
    if expectation.kind:
        force, note = _published(pull.specimen, expectation)
    else:
        force, note = expectation.force_n, "as stated"
    share = force / stop_n
    if share >= 1.0:
        note = f'{note}; at or over the stop: this pull would end whole, as "at least"'
    return replace(pull, expected_n=force, expected_of_stop=share, expected_note=note)


def _published(specimen: Values, expectation: Expectation) -> tuple[float, str]:
    try:
        inputs = keys.read_mapping(as_keys(specimen, expectation))
        found = ask.predict(expectation.kind, inputs)
    except InputFault as fault:
        return math.nan, f"not enough is known: {fault}"
    force = found.value
    if found.unit == "N/mm":
        if "l_mm" not in inputs.numbers:
            return math.nan, "not enough is known: needs penetration_mm"
        force *= inputs["l_mm"]
    return force, _words(found)


def _words(found: Prediction) -> str:
    words = f"{found.kind_of_value}, {found.source}"
    if not found.valid:
        words += "; OUTSIDE its published range"
    if found.kind_of_value is not KindOfValue.AVERAGE_ULTIMATE:
        words += "; pulls usually come out well above such a value"
    return words


def as_keys(specimen: Values, expectation: Expectation) -> dict[str, str | float]:
    """Return the specimen in the words of a prediction; the expectation's own keys come first."""
    given = dict(pair.split("=", 1) for pair in expectation.pairs)
    found: dict[str, str | float] = {}
    for key, fills in _SAME.items():
        if key in specimen:
            found.setdefault(fills, specimen[key])
    found |= {key: specimen[key] for key in specimen if key in keys.NUMBERS}
    if "species" in specimen and not any(key in {**found, **given} for key in _WOOD_ITSELF):
        found["species"] = specimen["species"]
    return {**found, **given}
