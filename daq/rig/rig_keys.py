"""Every key a rig file may hold: what it becomes, and how its value is read.

A reader takes a TOML value and returns ours, or raises ValueError with a sentence that says what
was found and what is meant.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeGuard

from daq import units

Reader = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class Key:
    """One key: the field of its record in ``daq.rig.rig``, its reader, whether it must be there."""

    field: str
    read: Reader
    required: bool = False


def shown(value: object) -> str:
    """Return a TOML value as a person would recognise it, cut to a readable length."""
    if isinstance(value, bool):
        text = str(value).lower()
    else:
        text = f'"{value}"' if isinstance(value, str) else f"{value}"
    return text if len(text) <= 50 else f"{text[:47]}..."


def a_text(value: object) -> str:
    """Read a text that is not empty and can be printed; a text of several lines is fine."""
    if isinstance(value, str) and value.strip():
        if all(line.isprintable() for line in value.replace("\t", " ").split("\n")):
            return value
        raise ValueError(f"found {shown(value)}; it holds characters that cannot be printed")
    raise ValueError(f"found {shown(value)}; write some text in quotes")


def any_text(value: object) -> str:
    """Read a text, perhaps empty."""
    return value if isinstance(value, str) and not value.strip() else a_text(value)


def text_or_number(value: object) -> str:
    """Read a text, or a whole number as a text (a build may be written 4 or "4")."""
    return str(value) if _is_whole(value) else a_text(value)


def a_separator(value: object) -> str:
    """Read one character."""
    if isinstance(value, str) and len(value) == 1 and not value.isalnum() and value not in "+-\r\n":
        return value
    raise ValueError(f'found {shown(value)}; write one character, such as ",", ";" or " "')


def names(value: object) -> tuple[str, ...]:
    """Read a list of names, at least one."""
    if isinstance(value, list) and value and all(isinstance(v, str) and v.strip() for v in value):
        return tuple(value)
    raise ValueError(
        f"found {shown(value)}; write the fields of a line in order, such as "
        '["time_us", "left", "right"]'
    )


def one_of(*choices: str) -> Reader:
    """Read one of a few words."""

    def read(value: object) -> str:
        if value in choices and isinstance(value, str):
            return value
        raise ValueError(f"found {shown(value)}; write {_either(choices)}")

    return read


def whole(low: int, high: int) -> Reader:
    """Read a whole number within bounds."""

    def read(value: object) -> int:
        if _is_whole(value) and low <= value <= high:
            return value
        raise ValueError(f"found {shown(value)}; write a whole number from {low} to {high}")

    return read


def number(low: float, high: float) -> Reader:
    """Read a plain number within bounds, without a unit."""

    def read(value: object) -> float:
        if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
            return float(value)
        raise ValueError(
            f"found {shown(value)}; write a number from {low:g} to {high:g}, no quotes"
        )

    return read


def a_sign(value: object) -> int:
    """Read 1 or -1."""
    if _is_whole(value) and value in (1, -1):
        return int(value)
    raise ValueError(f"found {shown(value)}; write 1, or -1 where the counts fall under load")


def quantity(
    parse: Callable[[str], float],
    *,
    above: float = -math.inf,
    least: float = -math.inf,
    most: float = math.inf,
) -> Reader:
    """Read a quantity with its unit, above ``above`` (0 or none), from ``least`` to ``most``."""

    def read(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise ValueError(f"found {shown(value)}; write a number with its unit in quotes")
        result = parse(str(value))
        if result <= above:
            raise ValueError(f"found {shown(value)}; it must be above zero")
        if result < 0.0 == least:
            raise ValueError(f"found {shown(value)}; it must not be negative")
        if not least <= result <= most:
            size = "more" if result > most else "less"
            raise ValueError(f"found {shown(value)}; that is {size} than any rig has")
        return result

    return read


def a_limit(value: object) -> float | None:
    """Read a force, or "unknown"."""
    if isinstance(value, str) and value.strip().lower() == "unknown":
        return None
    try:
        return float(FORCE(value))
    except ValueError as error:
        raise ValueError(f'{error}; where nobody knows it, write "unknown"') from None


def _metres(text: str) -> float:
    return units.parse_length_mm(text) / 1000.0


def _is_whole(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)


def _either(choices: tuple[str, ...]) -> str:
    quoted = [f'"{choice}"' for choice in choices]
    return f"{', '.join(quoted[:-1])} or {quoted[-1]}"


FORCE = quantity(units.parse_force_n, above=0.0, least=0.01, most=1e9)
LENGTH = quantity(units.parse_length_mm, above=0.0, least=0.01, most=1e5)
LENGTH_OR_ZERO = quantity(units.parse_length_mm, least=0.0, most=1e5)
OFFSET = quantity(units.parse_length_mm, least=-1e5, most=1e5)
STRESS = quantity(units.parse_stress_mpa, above=0.0, least=1e-3, most=1e4)
ACTS_AT = one_of("specimen", "jack", "cell", "fulcrum")

Keys = Mapping[str, Key]

RIG: Keys = {
    "name": Key("name", a_text, required=True),
    "build": Key("build", text_or_number, required=True),
    "notes": Key("notes", any_text),
    "stiffness": Key(
        "stiffness_n_per_mm",
        quantity(units.parse_stiffness_n_per_mm, above=0.0, least=1e-3, most=1e9),
    ),
    "calibration": Key("calibration_file", a_text),
    "latitude": Key("latitude_deg", quantity(units.parse_angle_deg, least=-90.0, most=90.0)),
    "height": Key("height_m", quantity(_metres, least=-500.0, most=9000.0)),
}
LINK: Keys = {
    "fields": Key("fields", names, required=True),
    "port": Key("port", a_text),
    "baud": Key("baud", whole(50, 12_000_000)),
    "format": Key("format", one_of("text", "packet")),
    "separator": Key("separator", a_separator),
    "checksum": Key("checksum", one_of("none", "xor", "crc")),
}
CELL: Keys = {
    "name": Key("name", a_text, required=True),
    "field": Key("field", a_text, required=True),
    "capacity": Key("capacity_n", FORCE, required=True),
    "sign": Key("sign", a_sign),
    "counts_per_newton": Key("counts_per_newton", number(1e-6, 1e9)),
}
LEVER: Keys = {
    "fulcrum": Key("fulcrum", one_of("end", "between"), required=True),
    "jack_arm": Key("jack_arm_mm", LENGTH, required=True),
    "specimen_arm": Key("specimen_arm_mm", LENGTH, required=True),
    "arm_uncertainty": Key("arm_uncertainty_mm", LENGTH_OR_ZERO),
    "jack_pin_offset": Key("jack_pin_offset_mm", OFFSET),
    "specimen_pin_offset": Key("specimen_pin_offset_mm", OFFSET),
    "max_tilt": Key("max_tilt_deg", quantity(units.parse_angle_deg, least=0.0, most=45.0)),
    "pin_radius": Key("pin_radius_mm", LENGTH_OR_ZERO),
    "pin_friction": Key("pin_friction", number(0.0, 2.0)),
    "contact": Key("contact", one_of("pin", "rounded", "flat")),
}
SCREWS: Keys = {
    "count": Key("count", whole(1, 100), required=True),
    "diameter": Key("diameter_mm", LENGTH, required=True),
    "length_each_side": Key("length_each_side_mm", LENGTH, required=True),
    "core": Key("core_mm", LENGTH),
}
BEAM: Keys = {
    "breadth": Key("breadth_mm", LENGTH, required=True),
    "depth": Key("depth_mm", LENGTH, required=True),
    "length": Key("length_mm", LENGTH),
    "hole": Key("hole_mm", LENGTH_OR_ZERO),
    "hole_offset": Key("hole_offset_mm", OFFSET),
    "loaded_edge": Key("loaded_edge_mm", LENGTH),
    "species": Key("species", a_text),
    "density": Key("density_kg_m3", quantity(units.parse_density_kg_m3, above=0.0, most=2000.0)),
    "allowed_bending": Key("allowed_bending_mpa", STRESS),
    "allowed_shear": Key("allowed_shear_mpa", STRESS),
    "allowed_bearing": Key("allowed_bearing_mpa", STRESS),
}
PIN: Keys = {
    "name": Key("name", a_text, required=True),
    "acts_at": Key("acts_at", ACTS_AT, required=True),
    "diameter": Key("diameter_mm", LENGTH, required=True),
    "middle": Key("middle_mm", LENGTH, required=True),
    "side": Key("side_mm", LENGTH, required=True),
    "gap": Key("gap_mm", LENGTH_OR_ZERO),
    "allowed_shear": Key("allowed_shear_mpa", STRESS),
    "allowed_bending": Key("allowed_bending_mpa", STRESS),
}
PART: Keys = {
    "name": Key("name", a_text, required=True),
    "limit": Key("limit_n", a_limit, required=True),
    "acts_at": Key("acts_at", ACTS_AT, required=True),
    "source": Key("source", any_text),
}
STOP: Keys = {
    "stop": Key("stop_n", FORCE, required=True),
    "warn": Key("warn_n", FORCE, required=True),
    "stale_after": Key(
        "stale_after_s", quantity(units.parse_time_s, above=0.0, least=0.05, most=5.0)
    ),
    "alarm_line": Key("alarm_line", one_of("rts", "dtr", "none")),
}
JACK: Keys = {
    "lead": Key("lead_mm", LENGTH, required=True),
    "capacity": Key("capacity_n", FORCE),
    "mean_diameter": Key("mean_diameter_mm", LENGTH),
    "friction": Key("friction", number(0.0, 2.0)),
    "collar_radius": Key("collar_radius_mm", LENGTH_OR_ZERO),
    "crank": Key("crank_mm", LENGTH),
}
