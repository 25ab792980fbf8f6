"""Reads a rig file (TOML, quantities with units), tells every problem, rewrites one value."""

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from daq.faults import InputFault, Problem
from daq.rig import rig_keys, rig_rules
from daq.rig.rig import (
    Beam,
    Cell,
    Jack,
    Lever,
    Link,
    Part,
    Pin,
    ReinforcingScrews,
    Rig,
    Stop,
)
from daq.rig.rig_keys import Keys, shown
from daq.rig.toml_lines import Place, line_numbers, line_of, shown_place, too_deep_line

LARGEST_BYTES = 1_000_000
MOST_PROBLEMS = 100  # more are not told: this is no rig file
LONGEST_KEY = 80  # of a key in a complaint

T = TypeVar("T")

#: Sections of a rig file; those that may stand once, and those that may be repeated.
SINGLE = ("rig", "link", "lever", "beam", "stop", "jack")
REPEATED = ("cell", "part", "pin")


def read_rig(path: Path) -> Rig:
    """Read a rig file. Raises InputFault with every problem found (file, line, key)."""
    rig = read_rig_text(_text_of(path), str(path), path.parent)
    return replace(rig, path=path)


def read_rig_text(text: str, name: str, folder: Path | None = None) -> Rig:
    """Read the text of a rig file.

    ``name`` stands for the file in complaints; a calibration path is taken from ``folder``. Raises
    InputFault with every problem found.
    """
    document = _parse_toml(text, name)
    reading = _Reading(name, line_numbers(text))
    reading.only_known(document, (*SINGLE, *REPEATED), ())
    rig = _build(reading, document, text, folder)
    if reading.problems or rig is None:
        told = sorted(reading.problems, key=lambda problem: problem.line or 0)
        raise InputFault(told[:MOST_PROBLEMS])
    return rig


def with_value(text: str, key: str, value: str | float | int) -> str:
    """Return the rig file ``text`` with one value changed, comments and layout kept.

    ``key`` is a section and a key ("stop.stop"); for a repeated section its number, from 1
    ("cell[2].sign"). A missing key is added to its section. Raises InputFault if the section is
    not there.
    """
    import tomlkit

    document = tomlkit.parse(text)
    *sections, last = re.findall(r"[^.\[\]]+", key)
    table: Any = document
    try:
        for part in sections:
            table = table[int(part) - 1] if part.isdigit() else table[part]
        table[last] = value
    except (LookupError, TypeError):
        raise InputFault(f"the rig file has no place for {key}") from None
    return tomlkit.dumps(document)


@dataclass(slots=True)
class _Reading:
    """Collects problems with their places while a file is read."""

    file: str
    lines: Mapping[Place, int]
    problems: list[Problem] = field(default_factory=list)

    def tell(self, place: Place, message: str) -> None:
        line = line_of(self.lines, place)
        key, message = _printable(shown_place(place)[:LONGEST_KEY]), _printable(message)
        self.problems.append(Problem(self.file, line, key, message))

    def tell_all(self, broken: Iterable[tuple[Place, str]]) -> None:
        for place, message in broken:
            self.tell(place, message)

    def only_known(self, table: Mapping[str, Any], known: Iterable[str], place: Place) -> None:
        known = tuple(known)
        for key in table:
            if key not in known and len(self.problems) < MOST_PROBLEMS:
                what = "key" if place else "section"
                near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.0)[0]
                self.tell((*place, key), f'unknown {what}; the nearest known one is "{near}"')

    def table(self, document: Mapping[str, Any], name: str) -> dict[str, Any] | None:
        """Return a section that must be there, or None after telling so."""
        if name not in document:
            self.tell((name,), f"the section [{name}] is missing")
            return None
        return self.is_table(document[name], (name,))

    def is_table(self, value: object, place: Place) -> dict[str, Any] | None:
        if isinstance(value, dict):
            return value
        self.tell(place, f"found {shown(value)}; write a section [{shown_place(place)}]")
        return None

    def tables(self, document: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
        """Return the tables of a repeated section (none if it is absent)."""
        found = document.get(name, [])
        if isinstance(found, list) and all(isinstance(item, dict) for item in found):
            return found
        self.tell((name,), f"write [[{name}]] in double brackets, once for each {name}")
        return []

    def values(
        self,
        table: Mapping[str, Any] | None,
        keys: Keys,
        place: Place,
        also_known: tuple[str, ...] = (),
    ) -> dict[str, Any]:
        """Return field -> value of a section; every problem in it is told."""
        result: dict[str, Any] = {}
        if table is None:
            return result
        self.only_known(table, (*keys, *also_known), place)
        for name, key in keys.items():
            if name in table:
                try:
                    result[key.field] = key.read(table[name])
                except ValueError as error:
                    self.tell((*place, name), str(error))
            elif key.required:
                self.tell((*place, name), "is missing")
        return result

    def record(
        self, kind: type[T], keys: Keys, table: Mapping[str, Any] | None, place: Place, **more: Any
    ) -> T | None:
        """Return a section as its record, or None when a problem was told."""
        before = len(self.problems)
        values = self.values(table, keys, place)
        return None if table is None or len(self.problems) > before else kind(**{**more, **values})

    def single(self, document: Mapping[str, Any], kind: type[T], keys: Keys, name: str) -> T | None:
        """Return a section that must be there as its record, or None when a problem was told."""
        return self.record(kind, keys, self.table(document, name), (name,))

    def repeated(
        self, document: Mapping[str, Any], kind: type[T], keys: Keys, name: str, **more: Any
    ) -> tuple[T, ...]:
        """Return the tables of a repeated section that could be read, as records."""
        tables = enumerate(self.tables(document, name))
        found = [self.record(kind, keys, table, (name, n), **more) for n, table in tables]
        return tuple(record for record in found if record is not None)


def _build(
    reading: _Reading, document: dict[str, Any], text: str, folder: Path | None
) -> Rig | None:
    """Read all sections, then hold them to the rules; None when a section could not be read."""
    about = reading.values(reading.table(document, "rig"), rig_keys.RIG, ("rig",))
    link = reading.single(document, Link, rig_keys.LINK, "link")
    cells = _cells(reading, document, link)
    beam = _beam(reading, document)
    lever = reading.single(document, Lever, rig_keys.LEVER, "lever")
    parts = reading.repeated(document, Part, rig_keys.PART, "part", source="")
    pins = reading.repeated(document, Pin, rig_keys.PIN, "pin")
    stop = reading.single(document, Stop, rig_keys.STOP, "stop")
    jack = reading.single(document, Jack, rig_keys.JACK, "jack")
    reading.tell_all(rig_rules.lever_rules(lever, beam) if lever else ())
    reading.tell_all(rig_rules.beam_rules(beam) if beam else ())
    reading.tell_all(rig_rules.part_rules(parts))
    reading.tell_all(rig_rules.pin_rules(pins))
    reading.tell_all(rig_rules.stop_rules(stop) if stop else ())
    if reading.problems or not (link and lever and stop and jack):
        return None
    if "calibration_file" in about:
        about["calibration_file"] = (folder or Path()) / about["calibration_file"]
    return Rig(
        **about,
        link=link,
        cells=cells,
        lever=lever,
        stop=stop,
        jack=jack,
        beam=beam,
        parts=parts,
        pins=pins,
        text=text,
    )


def _cells(reading: _Reading, document: Mapping[str, Any], link: Link | None) -> tuple[Cell, ...]:
    before = len(reading.problems)
    cells = reading.repeated(document, Cell, rig_keys.CELL, "cell")
    if "cell" not in document:
        reading.tell(("cell",), "no [[cell]] is named; a rig has one load cell at least")
    if len(reading.problems) == before:
        reading.tell_all(rig_rules.cell_rules(cells))
        reading.tell_all(rig_rules.link_rules(link, cells) if link else ())
    return cells


def _beam(reading: _Reading, document: Mapping[str, Any]) -> Beam | None:
    if "beam" not in document:
        return None
    place: Place = ("beam",)
    table = reading.is_table(document["beam"], place)
    before = len(reading.problems)
    values = reading.values(table, rig_keys.BEAM, place, also_known=("screws",))
    if table is not None and "screws" in table:
        inner: Place = ("beam", "screws")
        screws = reading.is_table(table["screws"], inner)
        values["screws"] = reading.record(ReinforcingScrews, rig_keys.SCREWS, screws, inner)
    return None if table is None or len(reading.problems) > before else Beam(**values)


def _parse_toml(text: str, name: str) -> dict[str, Any]:
    if line := too_deep_line(text):
        raise InputFault([Problem(name, line, "", "has more dots than any key of a rig file")])
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputFault([Problem(name, None, "", "is nested too deep for a rig file")]) from None
    except ValueError as error:  # TOMLDecodeError, and whole numbers of thousands of digits
        at = re.search(r" \(at line (\d+), column \d+\)$", str(error))
        line = int(at[1]) if at else None
        words = str(error)[: at.start()] if at else str(error)
        message = f"is not TOML: {_printable(words)}"
        raise InputFault([Problem(name, line, "", message)]) from None


def _printable(text: str) -> str:
    """Return ``text`` with what could steer a terminal written out as an escape."""
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


def _text_of(path: Path) -> str:
    """Return the text of a file, or raise InputFault with one sentence."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise _unreadable(path, "there is no such rig file") from None
    except OSError as error:
        raise _unreadable(path, f"cannot be read ({error.strerror})") from None
    if len(data) > LARGEST_BYTES:
        raise _unreadable(path, "is larger than 1 MB; this is not a rig file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _unreadable(path, "is not text in UTF-8; save it as UTF-8", line) from None


def _unreadable(path: Path, message: str, line: int | None = None) -> InputFault:
    return InputFault([Problem(str(path), line, "", message)])
