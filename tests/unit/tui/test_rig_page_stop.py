"""The console's rig page: another stop is taken, or refused with the part that cannot carry it."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from daq.rig.rig_file import read_rig
from tui.commands.demo import demo_rig_file
from tui.screens.rig_page import RigPage


class Desk:
    """Answers the question with what was typed; keeps what was said and used."""

    def __init__(self, typed):
        self.typed, self.said, self.used = typed, [], []

    def ask_line(self, question, answer, text=""):
        self.said.append(question)
        answer(self.typed)

    def say(self, message):
        self.said.append(message)

    def use_rig(self, rig):
        self.used.append(rig)


@pytest.fixture
def page_for(tmp_path):
    def make(typed):
        path = tmp_path / "rig.toml"
        path.write_text(demo_rig_file().read_text("utf-8"), "utf-8")
        return RigPage(Desk(typed), read_rig(path))

    return make


def shown(page, width=80):
    lines = page.draw(SimpleNamespace(unit="kN"), width, 40)
    return " ".join(" ".join("".join(text for text, _ in line) for line in lines).split())


def test_a_stop_above_the_allowed_one_is_refused_in_full(page_for):
    page = page_for("9.5 kN")
    page.press("stop", "s")
    assert page.desk.used == []
    assert "now 6.20 kN, this rig allows 6.21 kN" in page.desk.said[0]
    words = shown(page)
    assert "9.50 kN is above the 6.21 kN that this rig allows" in words
    assert "weakest part, cell left" in words
    assert read_rig(page.rig.path).stop.stop_n == 6200.0


def test_a_stop_that_may_stand_is_used_and_written(page_for):
    page = page_for("5 kN")
    page.press("stop", "s")
    (used,) = page.desk.used
    assert used.stop.stop_n == 5000.0
    assert read_rig(used.path).stop == used.stop
    assert "Stop 5.00 kN" in shown(page)


def test_without_a_file_it_holds_for_the_session(page_for):
    page = page_for("5 kN")
    page.rig = replace(page.rig, path=None)
    page.press("stop", "s")
    assert page.desk.used
    assert "for this session only" in page.desk.said[-1]
