"""The terminal itself: no colours where none are wanted, and put back as it was at every exit."""

import contextlib
import select
import sys
from collections.abc import Callable, Iterator

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


def closed_terminal() -> Callable[[], bool]:
    """Return what tells whether the terminal of now was closed; where there is none, never.

    A terminal that is closed sends SIGHUP only to whom it controls: not under every wrapper.
    """
    out = sys.__stdout__
    if out is None or not out.isatty() or not hasattr(select, "poll"):
        return lambda: False
    watched = select.poll()
    watched.register(out.fileno(), 0)  # a hang-up is told without being asked for
    # only these: some systems cannot watch a terminal, and say so in every answer
    gone = select.POLLHUP | select.POLLERR
    return lambda: any(told & gone for _, told in watched.poll(0))


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
        with contextlib.suppress(OSError):  # a terminal that was closed needs nothing
            if sys.__stdout__ is not None and sys.__stdout__.isatty():
                sys.__stdout__.write(AS_IT_WAS)
                sys.__stdout__.flush()
        if saved is not None:
            termios, descriptor, state = saved
            with contextlib.suppress(termios.error):
                termios.tcsetattr(descriptor, termios.TCSADRAIN, state)
