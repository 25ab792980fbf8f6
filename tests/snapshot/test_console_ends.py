"""However the console ends, the session is closed and the terminal put back."""

import io

import pytest

from tui import terminal as terminal_module
from tui.console import Console, run_console
from tui.terminal import sane_terminal


def test_run_console_closes_the_session_whatever_happens(in_state, monkeypatch):
    session = in_state("slack")

    def crash(self, **_):
        raise RuntimeError("the drawing failed")

    monkeypatch.setattr(Console, "run", crash)
    with pytest.raises(RuntimeError, match="the drawing failed"):
        run_console(session)
    assert session.asked == [("close",)]


def test_the_terminal_is_put_back_after_a_crash(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    terminal = Terminal()
    monkeypatch.setattr(terminal_module.sys, "__stdout__", terminal)
    with pytest.raises(RuntimeError), sane_terminal():
        raise RuntimeError("the drawing failed")
    # xterm modes: 1049 second screen, 25 cursor, 1000/1003/1006 mouse
    for code in ("?1049l", "?25h", "?1000l", "?1003l", "?1006l", "?2004l"):
        assert code in terminal.getvalue()
