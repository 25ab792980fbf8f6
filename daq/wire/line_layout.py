"""What the link says a line holds, made ready for reading lines: columns, separator, checksum."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from daq.faults import InputFault
from daq.rig.rig import Cell, Checksum, Link

CLOCKS = {"time_us": 1, "time_ms": 1000}  # field name -> microseconds a tick
CLOCK_MAX = (1 << 32) - 1
SKIP = "skip"  # the name of a field that is not used
LONGEST_LINE = 256  # bytes, without its end
#: Characters of a checksum with its star.
CHECKSUM_LENGTH = {"none": 0, "xor": 3, "crc": 5}


@dataclass(frozen=True, slots=True)
class Layout:
    """Columns of a line: how many, which is the clock (None: none), which are the cells'.

    ``separator`` is one byte; a space stands for any run of blanks. ``tick_us`` is 0 without clock.
    """

    fields: int
    clock: int | None
    tick_us: int
    cells: tuple[int, ...]
    separator: int
    checksum: Checksum

    @property
    def pattern(self) -> re.Pattern[bytes]:
        """What a line of good form matches (without checksum), a group for each field."""
        return re.compile(self._form(b"(%b)" % NUMBER))

    @property
    def run(self) -> re.Pattern[bytes]:
        """What lines of good form in a row match, perhaps none, with checksums and line ends."""
        digits = CHECKSUM_LENGTH[self.checksum] - 1
        told = rb"\*[0-9a-fA-F]{%d}" % digits if self.checksum != "none" else b""
        short = rb"(?=[^\n]{0,%d}\r?\n)" % LONGEST_LINE
        return re.compile(b"(?:" + short + self._form(NUMBER) + told + rb"\r?\n)*")

    def _form(self, number: bytes) -> bytes:
        mark = bytes([self.separator])
        blanks = b"[ ]*+" if mark == b"\t" else b"[ \t]*+"
        between = b"[ \t]++" if mark == b" " else blanks + re.escape(mark) + blanks
        return blanks + between.join([number] * self.fields) + blanks


NUMBER = rb"[+-]?[0-9]{1,10}+"


def layout_of(link: Link, cells: Sequence[Cell]) -> Layout:
    """Return the layout of the lines of ``link``. Raises InputFault where it makes no sense."""
    names = list(link.fields)
    clocks = [at for at, name in enumerate(names) if name in CLOCKS]
    if len(clocks) > 1:
        raise InputFault("link.fields names more than one clock: keep time_us or time_ms")
    missing = [cell.field for cell in cells if names.count(cell.field) != 1]
    if missing or not cells:
        raise InputFault(
            f"link.fields must name the field of each cell once, but not so for "
            f"{', '.join(missing) or 'any cell'}: it names {', '.join(names) or 'nothing'}"
        )
    clock = clocks[0] if clocks else None
    return Layout(
        fields=len(names),
        clock=clock,
        tick_us=0 if clock is None else CLOCKS[names[clock]],
        cells=tuple(names.index(cell.field) for cell in cells),
        separator=_separator(link),
        checksum=link.checksum,
    )


def _separator(link: Link) -> int:
    mark = link.separator
    if len(mark) != 1 or not mark.isascii() or mark.isalnum() or mark in "+-*#\r\n\0":
        raise InputFault(
            f"link.separator is {mark!r}, which cannot part numbers: "
            'use "," or ";" or a tab, or " " for any run of blanks'
        )
    return ord(mark)
