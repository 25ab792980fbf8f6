"""The keys a prediction is asked with: plain numbers in the unit the key names, or quantities."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from analysis.predictions import sizes
from daq import units
from daq.faults import InputFault

#: Key -> what it means. Plain numbers in the unit that the key ends in.
NUMBERS = {
    "G12": "oven-dry mass / volume at 12 % moisture",
    "G0": "oven-dry mass / oven-dry volume",
    "Gb": "oven-dry mass / green volume",
    "density_kg_m3": "a board as weighed and measured, with moisture_pct",
    "moisture_pct": "moisture of that board",
    "rho_k": "characteristic (5th percentile) density, kg/m3",
    "rho_a": "density that f_ax_mpa or f_head_mpa was tested at, kg/m3",
    "d_mm": "shank (handbook, nds) or outer thread (ec5, hardwood-study)",
    "l_mm": "length of thread (nail: of nail) in the wood",
    "head_mm": "head diameter",
    "t_mm": "thickness of the side member under the head",
    "root_mm": "root (core) diameter of the thread, measured",
    "pilot_mm": "diameter of the lead hole",
    "angle_deg": "angle between fastener and grain",
    "count": "fasteners that act together",
    "fu_mpa": "tensile strength of the fastener's steel",
    "f_ax_mpa": "tested withdrawal strength F/(d l)",
    "f_head_mpa": "tested head pull-through strength F/d_h^2",
    "f_tens_n": "declared tensile strength of one screw",
}
#: Key that takes a quantity with its unit -> the key it fills, and what reads it.
QUANTITIES: dict[str, tuple[str, Callable[[str], float]]] = {
    "d": ("d_mm", units.parse_length_mm),
    "l": ("l_mm", units.parse_length_mm),
    "head": ("head_mm", units.parse_length_mm),
    "t": ("t_mm", units.parse_length_mm),
    "root": ("root_mm", units.parse_length_mm),
    "pilot": ("pilot_mm", units.parse_length_mm),
    "angle": ("angle_deg", units.parse_angle_deg),
    "density": ("density_kg_m3", units.parse_density_kg_m3),
    "fu": ("fu_mpa", units.parse_stress_mpa),
    "f_ax": ("f_ax_mpa", units.parse_stress_mpa),
    "f_head": ("f_head_mpa", units.parse_stress_mpa),
    "f_tens": ("f_tens_n", units.parse_force_n),
}
#: Key that takes a word -> the words it takes; none: any text.
WORDS: dict[str, tuple[str, ...]] = {
    "source": ("handbook", "nds", "ec5", "hardwood-study"),
    "species": (),
    "grain": ("side", "end"),
    "shank": ("smooth", "annular", "stainless"),
    "tapping": ("yes", "no"),
}
KEYS = (*WORDS, *NUMBERS, *QUANTITIES)


@dataclass(frozen=True, slots=True)
class Inputs:
    """Keys as read: numbers in the unit of their key, words, and notes on how a size was read."""

    numbers: Mapping[str, float]
    words: Mapping[str, str]
    notes: tuple[str, ...] = ()

    def given(self) -> tuple[str, ...]:
        """Return the names of all keys that were given, in order."""
        return (*self.words, *self.numbers)

    def __getitem__(self, key: str) -> float:
        return self.numbers[key]

    def get(self, key: str, otherwise: float) -> float:
        """Return a number, or ``otherwise`` where the key was not given."""
        return self.numbers.get(key, otherwise)

    def word(self, key: str) -> str:
        """Return a word, or the first of the words that the key takes."""
        return self.words.get(key, WORDS[key][0])


def read_pairs(pairs: Sequence[str]) -> Inputs:
    """Return the inputs of "key=value" texts.

    Raises:
        InputFault: not a pair, an unknown key (the nearest is named), given twice, or a bad value.
    """
    found: dict[str, str] = {}
    for pair in pairs:
        key, sign, value = pair.partition("=")
        key, value = key.strip(), value.strip()
        if not sign or not value:
            raise InputFault(f'"{pair}": write key=value, such as d_mm=4.83 or d="No. 10"')
        if key in found:
            raise InputFault(f"{key}: given twice")
        found[key] = value
    return read_mapping(found)


def read_mapping(values: Mapping[str, str | float]) -> Inputs:
    """Return the inputs of a mapping of texts or numbers; faults as in `read_pairs`."""
    numbers: dict[str, float] = {}
    words: dict[str, str] = {}
    notes: list[str] = []
    for key, value in values.items():
        if key in WORDS:
            words[key] = _word(key, str(value))
        elif key in NUMBERS:
            _put(numbers, key, _plain(key, value))
        elif key in QUANTITIES:
            number, note = _quantity(key, str(value))
            _put(numbers, QUANTITIES[key][0], number)
            notes += [note] if note else []
        else:
            raise InputFault(f'"{key}": {unknown(key, KEYS)}')
    return Inputs(numbers, words, tuple(notes))


def unknown(name: str, known: Sequence[str]) -> str:
    """Return "is not known here" with the nearest of ``known``, or all of them."""
    folded = {item.casefold(): item for item in known}
    near = get_close_matches(name.casefold(), list(folded), n=1, cutoff=0.5)
    if near:
        return f"not known here; nearest: {folded[near[0]]}"
    return f"not known here; known: {', '.join(known)}"


def _put(numbers: dict[str, float], key: str, value: float) -> None:
    if key in numbers:
        raise InputFault(f"{key}: given twice, as a number and as a quantity")
    numbers[key] = value


def _word(key: str, value: str) -> str:
    known = WORDS[key]
    if known and value not in known:
        raise InputFault(f'{key}: "{value}" is {unknown(value, known)}')
    return value


def _plain(key: str, value: str | float) -> float:
    try:
        number = float(value)
    except ValueError:
        quantity = next((q for q, (fills, _) in QUANTITIES.items() if fills == key), None)
        hint = f'; for a value with its unit write {quantity}="{value}"' if quantity else ""
        raise InputFault(f'{key}: "{value}" is not a plain number{hint}') from None
    if not math.isfinite(number):
        raise InputFault(f'{key}: "{value}" is not a finite number')
    return number


def _quantity(key: str, value: str) -> tuple[float, str]:
    """Return a quantity in the unit of its key, and a note where a trade name was looked up."""
    if key == "d":
        gauge, nail = sizes.screw_gauge(value), sizes.nail_diameter_mm(value)
        if gauge is not None:
            shank = sizes.WOOD_SCREW_SHANK_MM.get(gauge, round(sizes.screw_shank_mm(gauge), 2))
            return (
                shank,
                f"d: gauge {gauge} read as a SHANK of {shank:g} mm; a thread measures more",
            )
        if nail is not None:
            return nail, f"d: {value} common nail read as {nail:g} mm (Wood Handbook Table 8-1)"
    try:
        return QUANTITIES[key][1](value), ""
    except ValueError as error:
        raise InputFault(f"{key}: {error}") from None
