"""Reads a plan folder back; every complaint names file, line and key."""

import csv
import io
import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from analysis.campaign_plan import (
    Board,
    Design,
    Factor,
    Plan,
    PlannedPull,
    Values,
    board_of,
    factor_of,
    make_pulls,
)
from analysis.predictions.keys import unknown
from daq.faults import InputFault, Problem
from daq.record.inert_text import sheet_text
from daq.rig.toml_lines import line_numbers, line_of, too_deep_line

PLAN = "plan.toml"
PULLS = "pulls.csv"
DEPARTURES = "departures.csv"
SHARE_COLUMN = "expected_of_stop_pct"
_SECTIONS = ("plan", "fixed", "factor", "board")
_PLAN_KEYS = (
    *("question", "decided", "made", "seed", "shuffle", "replicates", "cov_pct"),
    *("difference_pct", "needed_per_level", "expect", "rig", "stop_n"),
)

T = TypeVar("T")
Place = tuple[str | int, ...]


def read_plan(folder: Path) -> Plan:
    """Read a plan: plan.toml for what was decided, pulls.csv for the order that holds.

    Raises:
        InputFault: a file is missing or does not hold what a plan holds (file, line, key named).
    """
    plan = _TomlReading(folder / PLAN, text_of(folder / PLAN)).plan()
    return replace(plan, pulls=_read_pulls(folder / PULLS, plan.design))


def read_departures(folder: Path) -> tuple[Mapping[str, str], ...]:
    """Return the departures recorded so far, oldest first; none where there is no file."""
    path = folder / DEPARTURES
    if not path.exists():
        return ()
    return tuple(csv.DictReader(io.StringIO(text_of(path), newline="")))


def cell(value: str | float, digits: int | None = None) -> str:
    """Return a value as it stands in pulls.csv: decimal point, at most six digits after it.

    A text that a spreadsheet would run begins with an apostrophe.
    """
    if isinstance(value, str):
        return sheet_text(value)
    if not math.isfinite(value):
        return ""
    return f"{value:.6f}".rstrip("0").rstrip(".") if digits is None else f"{value:.{digits}f}"


def text_of(path: Path) -> str:
    """Return the text of a file of the plan, or raise InputFault with one sentence."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputFault([Problem(str(path), None, "", "there is no such file")]) from None
    except OSError as error:
        message = f"cannot be read ({error.strerror})"
        raise InputFault([Problem(str(path), None, "", message)]) from None
    except UnicodeDecodeError:
        raise InputFault([Problem(str(path), None, "", "is not text in UTF-8")]) from None


class _TomlReading:
    """Reads plan.toml and knows the line of each key."""

    def __init__(self, path: Path, text: str) -> None:
        self.path = path
        if line := too_deep_line(text):
            raise InputFault([Problem(str(path), line, "", "has more dots than any key of a plan")])
        try:
            self.document = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            raise InputFault([Problem(str(path), None, "", f"is not TOML: {error}")]) from None
        self.lines = line_numbers(text)

    def fault(self, place: Place, message: str) -> InputFault:
        key = ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
        return InputFault([Problem(str(self.path), line_of(self.lines, place), key, message)])

    def plan(self) -> Plan:
        for key in self.document:
            if key not in _SECTIONS:
                raise self.fault((key,), unknown(key, _SECTIONS))
        head = self._table("plan")
        for key in head:
            if key not in _PLAN_KEYS:
                raise self.fault(("plan", key), unknown(key, _PLAN_KEYS))
        design = Design(
            self._factors(),
            self._boards(),
            self._whole(head, "replicates"),
            self._whole(head, "seed"),
            self._values(self._table("fixed"), ("fixed",)),
        )
        return Plan(
            design,
            pulls=(),
            question=self._text(head, "question"),
            decided=self._text(head, "decided"),
            made=self._text(head, "made"),
            expect=self._text(head, "expect"),
            rig=self._text(head, "rig"),
            stop_n=self._number(head, "stop_n"),
            cov=self._number(head, "cov_pct") / 100.0,
            difference=self._number(head, "difference_pct") / 100.0,
            needed_per_level=(
                self._whole(head, "needed_per_level") if "needed_per_level" in head else None
            ),
        )

    def _table(self, name: str) -> dict[str, Any]:
        found = self.document.get(name, {})
        if not isinstance(found, dict):
            raise self.fault((name,), f"write a section [{name}]")
        return found

    def _tables(self, name: str) -> list[dict[str, Any]]:
        found = self.document.get(name, [])
        if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
            raise self.fault((name,), f"write [[{name}]] in double brackets, once for each")
        return found

    def _factors(self) -> tuple[Factor, ...]:
        factors = []
        for at, table in enumerate(self._tables("factor")):
            name, levels = table.get("name"), table.get("levels")
            listed = isinstance(levels, list) and all(isinstance(text, str) for text in levels)
            if not isinstance(name, str) or not listed or len(table) != 2:
                raise self.fault(("factor", at), "holds a name and levels, a list of texts")
            factors.append(self._held(("factor", at), factor_of, name, levels))
        return tuple(factors)

    def _boards(self) -> tuple[Board, ...]:
        boards = []
        for at, table in enumerate(self._tables("board")):
            name = table.get("name")
            if not isinstance(name, str):
                raise self.fault(("board", at), "its name is missing")
            rest = {key: value for key, value in table.items() if key != "name"}
            values = self._values(rest, ("board", at))
            boards.append(self._held(("board", at), board_of, name, values))
        return tuple(boards)

    def _held(self, place: Place, make: Callable[..., T], *given: Any) -> T:
        """Return what ``make`` builds; its complaint gets the file, line and key."""
        try:
            return make(*given)
        except InputFault as fault:
            raise self.fault(place, str(fault)) from None

    def _values(self, table: Mapping[str, Any], place: Place) -> Values:
        for key, value in table.items():
            if isinstance(value, bool) or not isinstance(value, str | int | float):
                raise self.fault((*place, key), "must be a text or a number")
        return {
            key: value if isinstance(value, str) else float(value) for key, value in table.items()
        }

    def _whole(self, head: Mapping[str, Any], key: str) -> int:
        value = head.get(key)
        if isinstance(value, bool) or not isinstance(value, int) or value < 0:
            raise self.fault(("plan", key), f"must be a whole number, found {value!r}")
        return value

    def _number(self, head: Mapping[str, Any], key: str) -> float:
        value = head.get(key, math.nan)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(("plan", key), f"must be a number, found {value!r}")
        return float(value)

    def _text(self, head: Mapping[str, Any], key: str) -> str:
        value = head.get(key, "")
        if not isinstance(value, str):
            raise self.fault(("plan", key), f"must be a text, found {value!r}")
        return value


def _read_pulls(path: Path, design: Design) -> tuple[PlannedPull, ...]:
    rows = list(csv.DictReader(io.StringIO(text_of(path), newline="")))
    planned = {cell(pull.label): pull for pull in make_pulls(design)}
    pulls = [_read_row(path, line, row, planned) for line, row in enumerate(rows, start=2)]
    missing = set(planned) - {cell(pull.label) for pull in pulls}
    if missing or len(pulls) != len(planned):
        named = f": {', '.join(sorted(missing)[:5])} missing" if missing else ""
        message = f"holds {len(pulls)} pulls where the plan has {len(planned)}{named}"
        raise InputFault([Problem(str(path), None, "", message)])
    return tuple(pulls)


def _read_row(
    path: Path, line: int, row: Mapping[str, str], planned: Mapping[str, PlannedPull]
) -> PlannedPull:
    pull = planned.get(row.get("label") or "")
    if pull is None:
        message = f"{row.get('label')!r} is no label of this plan; give back the original list"
        raise InputFault([Problem(str(path), line, "label", message)])
    for key, value in pull.specimen.items():
        if key in row and row[key] != cell(value):
            message = f"found {row[key]!r} where plan.toml gives {cell(value)!r}"
            raise InputFault([Problem(str(path), line, key, message)])
    numbers = {key: _read_cell(path, line, row, key) for key in ("expected_n", SHARE_COLUMN)}
    return replace(
        pull,
        run=line - 1,
        expected_n=numbers["expected_n"],
        expected_of_stop=numbers[SHARE_COLUMN] / 100.0,
        expected_note=row.get("expected_note") or "",
    )


def _read_cell(path: Path, line: int, row: Mapping[str, str], key: str) -> float:
    text = row.get(key) or ""
    try:
        return float(text) if text else math.nan
    except ValueError:
        message = f"{text!r} is not a number with a decimal point"
        raise InputFault([Problem(str(path), line, key, message)]) from None
