"""Lines that a person types or a pipe sends: looked at in between, never waited for.

What was typed before a question stood there is no answer to it: it is dropped, aloud.
"""

import importlib
import os
import re
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from tui.output import say

RUBBED_OUT = (0x08, 0x7F)
LINE_RUBBED_OUT = 0x15
END_OF_INPUT = 0x04
NO_TEXT = re.compile(rb"\x1b(?:\[[0-?]*[ -/]*[@-~]|O.)?")  # arrows and their like (ECMA-48, 5.4)


class TypedLines:
    """What stdin has given so far, line by line. ``ended``: nothing more will come."""

    def __init__(self) -> None:
        self.ended = False
        self.at_keyboard = False
        self._own_echo = False
        self._bytes = bytearray()
        self._console: Any = importlib.import_module("msvcrt") if os.name == "nt" else None
        try:
            self._descriptor = sys.stdin.fileno()
            self.at_keyboard = sys.stdin.isatty()
        except (AttributeError, OSError, ValueError):  # no stdin at all
            self.ended = True

    @contextmanager
    def without_echo(self) -> Iterator[None]:
        """Keep the terminal from writing what is typed: ``begun`` is there to be shown instead.

        A line that is drawn in place, again and again, would wipe a half-typed word away.
        """
        if not self.at_keyboard or self._console is not None:
            self._own_echo = self.at_keyboard
            yield
            return
        termios: Any = importlib.import_module("termios")
        before = termios.tcgetattr(self._descriptor)
        quiet = [*before]
        quiet[3] &= ~(termios.ICANON | termios.ECHO)
        # a polite request to end goes the way of Ctrl-C, past the line that puts the terminal back
        asked_to_end = signal.signal(signal.SIGTERM, signal.default_int_handler)
        termios.tcsetattr(self._descriptor, termios.TCSADRAIN, quiet)
        self._own_echo = True
        try:
            yield
        finally:
            self._own_echo = False
            termios.tcsetattr(self._descriptor, termios.TCSADRAIN, before)
            signal.signal(signal.SIGTERM, asked_to_end)

    @property
    def begun(self) -> str:
        """What is typed of a line that has no end yet."""
        return self._bytes.rpartition(b"\n")[2].decode("utf-8", "replace")

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

    def drop_early(self) -> None:
        """Forget the lines typed so far, and say so: what follows asks for something else.

        Only of a keyboard. A pipe cannot see what is asked: its lines are answers, in their order.
        """
        early: list[str] = []
        while self.at_keyboard and (line := self.next()) is not None:
            early.append(f'"{line}"' if line else "Enter")
        if self.at_keyboard and self.begun.strip():
            early.append(f'"{self.begun.strip()}"')
            self._begin_again("")
        if early:
            say(f"   typed before this was asked, not taken: {', '.join(early)}")

    def _look(self) -> None:
        if self._console is not None and self.at_keyboard:
            while self._console.kbhit():
                self._type(self._console.getwch().replace("\r", "\n").encode())
            return
        data = os.read(self._descriptor, 4096) if self._readable() else None
        if data == b"":
            self.ended = True
        elif data and self._own_echo:
            self._type(data)
        elif data:
            self._bytes += data

    def _type(self, data: bytes) -> None:
        """Take keys as a terminal does that no longer minds its lines itself."""
        for key in NO_TEXT.sub(b"", data):
            if key in RUBBED_OUT and self.begun:
                self._begin_again(self.begun[:-1])
            elif key == LINE_RUBBED_OUT:
                self._begin_again("")
            elif key == END_OF_INPUT:
                self.ended = True
            elif key >= 0x20 or key == 0x0A:
                self._bytes.append(key)

    def _begin_again(self, text: str) -> None:
        whole, newline, _ = self._bytes.rpartition(b"\n")
        self._bytes = whole + newline + text.encode()

    def _readable(self) -> bool:
        import select

        try:
            return bool(select.select([self._descriptor], [], [], 0)[0])
        except (OSError, ValueError):  # a file or pipe where that cannot be asked: reading is quick
            return True


def ask(question: str) -> str:
    """Ask a person and return the answer; what was typed before is dropped aloud."""
    TypedLines().drop_early()
    return input(f"{question} ").strip()
