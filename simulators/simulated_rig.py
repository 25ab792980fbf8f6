"""The rig that is simulated: geometry, cells and wire of a rig file, read here once more, apart.

Reads the same file as the console does (docs of the rig file), but shares no code with it.
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulators.scenario import ScenarioError

DEMO_RIG_FILE = Path(__file__).parent / "rigs" / "ossel-brook-b4.toml"
#: Counts a newton where the rig file gives none: 2 mV/V at 200 kgf, +/-20 mV for 24 bits.
USUAL_COUNTS_PER_NEWTON = 2140.0
NOT_CELLS = ("time_us", "time_ms", "skip")
_UNITS = {"n": 1.0, "kn": 1000.0, "kgf": 9.80665, "lbf": 4.4482216152605}
_UNITS |= {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}


@dataclass(frozen=True, slots=True)
class SimulatedRig:
    """What of a rig file the simulation needs. Lengths mm, forces N."""

    file: Path
    name: str
    ratio: float
    lead_mm: float
    stop_n: float
    cells: tuple[str, ...]  # fields on the wire, in the order of the cells
    signs: tuple[int, ...]
    counts_per_newton: tuple[float, ...]
    wire_fields: tuple[str, ...]
    separator: str
    wire_format: str
    checksum: str


def load_simulated_rig(path: Path = DEMO_RIG_FILE) -> SimulatedRig:
    """Return the rig of a rig file. Raises ScenarioError."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(f"{path}: is not TOML: {error}") from None
    try:
        rig = _rig(path, table)
    except KeyError as error:
        raise ScenarioError(f"{path}: {error.args[0]} is missing") from None
    if strange := set(rig.wire_fields) - {*rig.cells, *NOT_CELLS}:
        raise ScenarioError(f"{path}: fields: {', '.join(sorted(strange))} is the field of no cell")
    return rig


def _rig(path: Path, table: Mapping[str, Any]) -> SimulatedRig:
    link, lever, cells = table["link"], table["lever"], table["cell"]

    def quantity(value: Any) -> float:
        return _quantity(value, path)

    return SimulatedRig(
        file=path,
        name=str(table["rig"]["name"]),
        ratio=quantity(lever["jack_arm"]) / quantity(lever["specimen_arm"]),
        lead_mm=quantity(table["jack"]["lead"]),
        stop_n=quantity(table["stop"]["stop"]),
        cells=tuple(cell["field"] for cell in cells),
        signs=tuple(cell.get("sign", 1) for cell in cells),
        counts_per_newton=tuple(
            float(cell.get("counts_per_newton", USUAL_COUNTS_PER_NEWTON)) for cell in cells
        ),
        wire_fields=tuple(link["fields"]),
        separator=link.get("separator", ","),
        wire_format=link.get("format", "text"),
        checksum=link.get("checksum", "none"),
    )


def _quantity(value: Any, path: Path) -> float:
    found = re.fullmatch(r"\s*([0-9.]+)\s*([A-Za-z]+)\s*", str(value))
    unit = _UNITS.get(found[2].lower()) if found else None
    if found is None or unit is None:
        raise ScenarioError(f'{path}: "{value}" is not a number with a unit ({", ".join(_UNITS)})')
    return float(found[1]) * unit
