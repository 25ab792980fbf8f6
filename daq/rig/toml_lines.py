"""Where in a TOML text each key stands, so that a complaint can name its line."""

import re
from collections.abc import Iterator, Mapping

#: A key's place: names, and for an array of tables the index of the table, from 0.
Place = tuple[str | int, ...]

MOST_DOTS = 64
_QUOTED = re.compile(r"""\"[^"]*\"|'[^']*'""")
_NAME = r"""(?:[A-Za-z0-9_-]+|"[^"\n]*"|'[^'\n]*')"""
_NAMES = rf"{_NAME}(?:\s*\.\s*{_NAME})*"
_HEADER = re.compile(rf"\s*(?P<open>\[\[?)\s*(?P<names>{_NAMES})\s*\]")
_KEY = re.compile(rf"\s*(?P<names>{_NAMES})\s*=\s*(?P<value>.*)")


def too_deep_line(text: str) -> int | None:
    """Return the first line (from 1) with more than MOST_DOTS dots outside quotes, or None.

    A key of n dotted names costs a TOML reader n * n: a short file can ask for all memory.
    """
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > MOST_DOTS:
            bare = _QUOTED.sub("", line).partition("#")[0]
            if bare.count(".") > MOST_DOTS:
                return number
    return None


def line_numbers(text: str) -> dict[Place, int]:
    """Return place -> line (from 1) of every section header and every key that starts a line.

    Keys inside inline tables and multi-line values are not found; see ``line_of``.
    """
    lines: dict[Place, int] = {}
    tables: dict[Place, int] = {}
    section: Place = ()
    for number, line in _lines_outside_long_strings(text):
        if header := _HEADER.match(line):
            section = _resolve(_split(header["names"]), tables)
            if header["open"] == "[[":
                array = section[:-1] if section and isinstance(section[-1], int) else section
                tables[array] = tables.get(array, -1) + 1
                section = (*array, tables[array])
            lines.setdefault(section, number)
        elif key := _KEY.match(line):
            lines.setdefault((*section, *_split(key["names"])), number)
    return lines


def line_of(lines: Mapping[Place, int], place: Place) -> int | None:
    """Return the line of ``place``, or of the nearest thing that holds it, or None."""
    while place:
        if place in lines:
            return lines[place]
        place = place[:-1]
    return None


def shown_place(place: Place) -> str:
    """Return a place as people read it, tables counted from 1: ``cell[2].capacity``."""
    words = [f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in place]
    return "".join(words).removeprefix(".")


def _lines_outside_long_strings(text: str) -> Iterator[tuple[int, str]]:
    fence = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if fence:
            fence = "" if fence in line else fence
            continue
        yield number, line
        if key := _KEY.match(line):
            value = key["value"]
            opened = value[:3] if value[:3] in ('"""', "'''") else ""
            fence = opened if opened and opened not in value[3:] else ""


def _split(names: str) -> Place:
    return tuple(name.strip("\"'") for name in re.findall(_NAME, names))


def _resolve(names: Place, tables: Mapping[Place, int]) -> Place:
    place: Place = ()
    for name in names:
        place = (*place, name)
        if place in tables:
            place = (*place, tables[place])
    return place
