"""Lines that a person types or a pipe sends: looked at in between, never waited for."""

import importlib
import os
import sys
from typing import Any


class TypedLines:
    """What stdin has given so far, line by line. ``ended``: nothing more will come."""

    def __init__(self) -> None:
        self.ended = False
        self._bytes = bytearray()
        self._console: Any = importlib.import_module("msvcrt") if os.name == "nt" else None
        try:
            self._descriptor = sys.stdin.fileno()
        except (AttributeError, OSError, ValueError):  # no stdin at all
            self.ended = True

    def next(self) -> str | None:
        """Return the next whole line without its end, None where there is none yet."""
        if b"\n" not in self._bytes and not self.ended:
            self._look()
        line, newline, rest = self._bytes.partition(b"\n")
        if newline:
            self._bytes = rest
            return line.decode("utf-8", "replace").strip()
        if self.ended and self._bytes:
            self._bytes = bytearray()
            return line.decode("utf-8", "replace").strip()
        return None

    def _look(self) -> None:
        if self._console is not None and sys.stdin.isatty():
            while self._console.kbhit():
                typed = self._console.getwche()
                self._bytes += ("\n" if typed == "\r" else typed).encode()
            return
        data = os.read(self._descriptor, 4096) if self._readable() else None
        if data == b"":
            self.ended = True
        elif data:
            self._bytes += data

    def _readable(self) -> bool:
        import select

        try:
            return bool(select.select([self._descriptor], [], [], 0)[0])
        except (OSError, ValueError):  # a file or pipe where that cannot be asked: reading is quick
            return True
