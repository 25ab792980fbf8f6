"""A table of known weights and what the board gave: read, refused with file, line and column.

Header row, commas, decimal points. One load column: ``load_n``, ``load_kgf``, ``load_lbf`` or
``mass_kg``. ``response`` in counts or any unit, or ``response_NAME`` for each cell of several.
Optional: ``direction`` (up or down), ``series``, ``void`` (why a row does not count). Lines that
start with # and empty ones are passed over.
"""

import csv
import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from daq.faults import InputFault, Problem
from daq.force.calibration import Point
from daq.force.weights import Gravity, weight_force_n
from daq.samples import COUNTS_MAX, COUNTS_MIN
from daq.units import FORCE

UNITS = {"load_n": "N", "load_kgf": "kgf", "load_lbf": "lbf", "mass_kg": "kg"}
LOADS = tuple(UNITS)
OTHERS = ("response", "direction", "series", "void")
NO_UNIT = {"load", "mass", "weight", "force", "kg", "lb", "lbs", "n", "kgf", "lbf", "kn"}
CELL = "response_"
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class PointsTable:
    """The points of a file, in its order, voided ones included."""

    file: str
    load_column: str
    cells: tuple[str, ...]  # names behind ``response_``; empty for a single response
    points: tuple[Point, ...]
    resolution: float  # the last digit written in any response

    @property
    def is_mass(self) -> bool:
        """Whether gravity was needed to make forces of the loads."""
        return self.load_column == "mass_kg"

    def problem(self, line: int | None, column: str, message: str) -> Problem:
        """Return a problem at a place in this file."""
        return Problem(self.file, line, column, message)


def read_points(path: Path, gravity: Gravity) -> PointsTable:
    """Read a points file. Raises InputFault with everything that is wrong in it."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputFault(
            [Problem(str(path), None, "", f"cannot be read: {error.strerror}")]
        ) from None
    except UnicodeDecodeError:
        raise InputFault([Problem(str(path), None, "", "is not text in UTF-8")]) from None
    return parse_points(text, str(path), gravity)


def parse_points(text: str, file: str, gravity: Gravity) -> PointsTable:
    """Return the points in CSV ``text``; ``gravity`` makes forces of masses. Raises InputFault."""
    rows = [
        (number, _fields(file, number, line))
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise InputFault(
            [Problem(file, None, "", "holds no points: a header row and rows are meant")]
        )
    (line, header), *body = rows
    names = [name.lower() if name.lower() in (*LOADS, *OTHERS) else name for name in header]
    problems = _header_problems(file, line, names)
    if problems:
        raise InputFault(problems)
    (load_column,) = (name for name in names if name in LOADS)
    reader = _Rows(file, names, load_column, _newtons_per_unit(load_column, gravity), problems)
    points = tuple(point for number, fields in body if (point := reader.point(number, fields)))
    if problems:
        raise InputFault(problems)
    cells = tuple(name.removeprefix(CELL) for name in names if name.startswith(CELL))
    return PointsTable(file, load_column, cells, points, reader.resolution)


def _fields(file: str, number: int, line: str) -> list[str]:
    try:
        return [field.strip() for field in next(csv.reader([line]))]
    except csv.Error as error:
        raise InputFault([Problem(file, number, "", f"cannot be read: {error}")]) from None


def _header_problems(file: str, line: int, names: list[str]) -> list[Problem]:
    found = [
        Problem(file, line, name, _unknown(name))
        for name in names
        if name not in LOADS + OTHERS and not (name.startswith(CELL) and name != CELL)
    ]
    found += [
        Problem(file, line, name, "is there twice")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    loads = [name for name in names if name in LOADS]
    if len(loads) != 1 and not found:
        there = f"{' and '.join(loads)} are both there" if loads else "there is no load column"
        found.append(Problem(file, line, "load", f"{there}: one of {', '.join(LOADS)} is meant"))
    cells = [name for name in names if name.startswith(CELL)]
    if "response" not in names and not cells and not found:
        found.append(Problem(file, line, "response", "there is no response column"))
    if "response" in names and cells:
        found.append(
            Problem(file, line, "response", f"is there beside {cells[0]}: give one or the other")
        )
    return found


def _unknown(name: str) -> str:
    if name.lower() in NO_UNIT:
        return f"has no unit a load can be read by: {', '.join(LOADS)} are known"
    if ";" in name or "\t" in name:
        return "columns are parted by commas, and numbers have decimal points"
    near = difflib.get_close_matches(name.lower(), LOADS + OTHERS, n=1, cutoff=0.0)
    return f'is no column known here; the nearest is "{near[0]}"'


def _newtons_per_unit(column: str, gravity: Gravity) -> float:
    if column == "mass_kg":
        return weight_force_n(1.0, gravity.value_m_s2)
    return float(FORCE.factors[UNITS[column]])


class _Rows:
    """Rows to points, with what is wrong gathered in ``problems``."""

    def __init__(
        self,
        file: str,
        names: list[str],
        load_column: str,
        newtons_per_unit: float,
        problems: list[Problem],
    ) -> None:
        self._file, self._names, self._problems = file, names, problems
        self._load_column, self._newtons_per_unit = load_column, newtons_per_unit
        self._responses = [name for name in names if name == "response" or name.startswith(CELL)]
        self.resolution = 1.0

    def point(self, line: int, fields: list[str]) -> Point | None:
        """Return the point of one row, or None where something is wrong with it."""
        if len(fields) != len(self._names):
            self._say(line, "", f"has {len(fields)} fields, the header {len(self._names)}")
            return None
        row = dict(zip(self._names, fields, strict=True))
        load = self._number(line, self._load_column, row)
        if load is not None and load < 0.0:
            self._say(
                line, self._load_column, f"{row[self._load_column]} is negative: no weight is"
            )
        responses = [self._response(line, name, row) for name in self._responses]
        direction = row.get("direction", "").lower()
        if direction not in ("", "up", "down"):
            self._say(line, "direction", f'is "{row["direction"]}": up or down is meant')
        if load is None or load < 0.0 or None in responses:
            return None
        return Point(
            load_n=load * self._newtons_per_unit,
            responses=tuple(r for r in responses if r is not None),
            direction=direction,
            series=row.get("series", "") or "1",
            void=row.get("void", ""),
            typed=f"{row[self._load_column]} {UNITS[self._load_column]}",
            line=line,
        )

    def _response(self, line: int, column: str, row: Mapping[str, str]) -> float | None:
        value = self._number(line, column, row)
        if value is None:
            return None
        if not COUNTS_MIN < value < COUNTS_MAX and not row.get("void"):
            self._say(
                line, column, f"{row[column]} is outside 24 bits: the converter was at its end"
            )
            return None
        exponent = int(Decimal(row[column]).as_tuple().exponent)
        self.resolution = min(self.resolution, 10.0**exponent)
        return value

    def _number(self, line: int, column: str, row: Mapping[str, str]) -> float | None:
        text = row[column]
        if _NUMBER.fullmatch(text):
            return float(text)
        found = f'"{text}" is not a number' if text else "is empty"
        self._say(line, column, f"{found}: a plain number with a decimal point is meant")
        return None

    def _say(self, line: int, column: str, message: str) -> None:
        self._problems.append(Problem(self._file, line, column, message))
