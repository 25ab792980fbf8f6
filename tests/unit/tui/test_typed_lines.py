"""Typing while a line is drawn in place: seen, editable, and never an answer before its time."""

import os
import sys
import time
from dataclasses import replace

import numpy as np
import pytest

from daq.faults import InputFault
from daq.force.guided_weights import Look, Stretch, begin
from daq.force.weights_plan import calibration_plan, read_masses
from daq.rig.rig_file import read_rig
from tui import guided_rounds
from tui.commands.demo import demo_rig_file
from tui.output import rows_of, say
from tui.typed_lines import TypedLines, ask

pty = pytest.importorskip("pty")


@pytest.fixture
def keyboard(monkeypatch):
    """What a person types; stdin is the other end of a terminal."""
    master, slave = pty.openpty()
    with os.fdopen(slave, "r") as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield lambda text: os.write(master, text.encode())
    os.close(master)


def heard(typed, until=lambda line: line is not None):
    """The next line, waited for with a deadline."""
    deadline = time.monotonic() + 5.0
    while not until(line := typed.next()):
        assert time.monotonic() < deadline
    return line


def test_what_is_half_typed_can_be_shown_and_mended(keyboard):
    typed = TypedLines()
    with typed.without_echo():
        keyboard("v lent\x7faned ön\x7f\x7fon")
        deadline = time.monotonic() + 5.0
        while typed.begun != "v lenaned on" and time.monotonic() < deadline:
            assert typed.next() is None
        assert typed.begun == "v lenaned on"
        keyboard("\x15q\n")
        assert heard(typed) == "q"
        assert typed.begun == ""


def test_a_half_typed_word_is_no_part_of_a_later_answer(keyboard, capsys):
    """Nor is an arrow: ECMA-48, 5.4, control sequences."""
    typed = TypedLines()
    with typed.without_echo():
        keyboard("y")
        deadline = time.monotonic() + 5.0
        while not typed.begun and time.monotonic() < deadline:
            assert typed.next() is None
        typed.drop_early()
        keyboard("\x1b[An\x1bOB\n")
        assert heard(typed) == "n"
    assert 'not taken: "y"' in capsys.readouterr().err


def test_the_terminal_is_left_as_it_was(keyboard):
    import termios

    before = termios.tcgetattr(sys.stdin.fileno())
    with pytest.raises(RuntimeError), TypedLines().without_echo():
        assert termios.tcgetattr(sys.stdin.fileno()) != before
        raise RuntimeError
    assert termios.tcgetattr(sys.stdin.fileno()) == before


def test_lines_typed_before_the_question_are_told_and_not_taken(keyboard, monkeypatch, capsys):
    keyboard("y\n\n")
    asked = []
    monkeypatch.setattr("builtins.input", lambda words: asked.append(words) or " n ")
    assert ask("Keep the sign? y or n:") == "n"
    assert asked == ["Keep the sign? y or n: "]
    assert 'not taken: "y", Enter' in capsys.readouterr().err
    assert TypedLines().next() is None


def test_a_pipe_gives_its_answers_in_their_order(monkeypatch, capsys):
    read, write = os.pipe()
    os.write(write, b"y\nq\n")
    os.close(write)
    with os.fdopen(read) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        typed = TypedLines()
        typed.drop_early()
        assert [heard(typed), heard(typed)] == ["y", "q"]
    assert capsys.readouterr().err == ""


class Board:
    """Stands for the counts: nothing is read, but at each look something is typed."""

    def __init__(self, keyboard, *texts):
        self.samples, self.restarts, self._looks = 1, 0, 0
        self._keyboard, self._texts = keyboard, list(texts)

    def read(self, source):
        self._looks += 1
        if self._texts:
            self._keyboard(self._texts.pop(0))
        assert self._looks < 1000

    def latest(self):
        return np.empty((0, 2)), np.empty(0)


def taken_and_asked(state, counts, seconds):
    """A look that takes the plateau at once, and then asks about the first cell."""
    if state.question:
        return state, Look(state.question)
    stretch = Stretch(np.empty((0, 2)), np.empty(0), "steady")
    return replace(state, asked=frozenset({0})), Look("steady", None, stretch)


@pytest.mark.parametrize(("answer", "refused"), [("n", True), ("q", True), ("v leaned", False)])
def test_a_yes_typed_before_the_question_does_not_answer_it(
    keyboard, monkeypatch, capsys, answer, refused
):
    rig = read_rig(demo_rig_file())
    plan = calibration_plan(rig, read_masses("5 kg, 10 kg"), 2, "cells", "unknown", summed=False)
    monkeypatch.setattr(guided_rounds, "look", taken_and_asked)
    walk = guided_rounds._Walk(rig, None, begin(plan), lambda *_: None)
    walk._stretch = Board(keyboard, "\ny\n", f"{answer}\nq\n")
    keyboard("q\n\n")
    with pytest.raises(InputFault, match="stopped" if answer != "q" else "by hand"):
        walk.run()
    err = capsys.readouterr().err
    begun, _, rest = err.partition("1 of 10, round 1: nothing on")
    assert 'not taken: "q", Enter' in begun
    assert "not steady yet" in rest  # the first Enter of the two was heard
    assert 'not taken: "y"' in rest
    assert rest.index('not taken: "y"') < rest.index("the reading fell")
    assert f"> {answer}" in err
    if not refused:
        assert "there is no point 0" in err


def test_words_are_whole_at_any_width(monkeypatch, capsys):
    line = "   taken as point 1: steady, and kept in /a/path/that/is/longer/than/the/row.csv."
    for width in (24, 60, 80):
        rows = rows_of(line, width)
        assert " ".join(rows).split() == line.split()
        assert all(len(row) <= width or len(row.split()) == 1 for row in rows)
        assert rows[0].startswith("   taken")
        assert all(row.startswith("     ") for row in rows[1:])
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    say(f"first\n\n{line}")
    told = capsys.readouterr().err.split("\n")
    assert told[:2] == ["first", ""]
    assert max(map(len, told)) <= 60
