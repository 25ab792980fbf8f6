"""The terminal itself: no colours where none are wanted, and put back as it was at every exit."""

import contextlib
import sys
from collections.abc import Iterator

from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import LineFilter

#: Leave the second screen, show the cursor, no mouse, no bracketed paste, plain text (xterm modes).
AS_IT_WAS = "\x1b[?1049l\x1b[?25h\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?2004l\x1b[0m"


class WithoutColour(LineFilter):
    """Takes every colour out of a line; weight and reverse stay."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments without colour."""
        return [
            Segment(text, (style or Style()).without_color, control)
            for text, style, control in segments
        ]


@contextlib.contextmanager
def sane_terminal() -> Iterator[None]:
    """Put the terminal back on the way out, also after a crash of the drawing."""
    saved = None
    with contextlib.suppress(Exception):
        import termios

        descriptor = sys.stdin.fileno()
        saved = (termios, descriptor, termios.tcgetattr(descriptor))
    try:
        yield
    finally:
        if sys.__stdout__ is not None and sys.__stdout__.isatty():
            sys.__stdout__.write(AS_IT_WAS)
            sys.__stdout__.flush()
        if saved is not None:
            termios, descriptor, state = saved
            termios.tcsetattr(descriptor, termios.TCSADRAIN, state)
