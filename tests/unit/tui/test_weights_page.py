"""The weights page of the console, walked through on simulated weights in virtual time."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from daq.force.calibration import Calibration
from daq.force.calibration_text import read_calibration
from daq.rig.rig_file import read_rig
from simulators.weights import WeightsOrder, simulate_weights
from tui.commands.demo import demo_rig_file
from tui.screens.weights_page import WeightsPage


class Session:
    """What the page asks of a session: the counts of the last seconds, and quiet for weights."""

    def __init__(self, simulation):
        self.simulation = simulation
        self.now_s = 0.0
        self.weighing = []
        self.calibrations = []

    def recent_counts(self):
        time_s = self.simulation.time_s
        first, last = np.searchsorted(time_s, [self.now_s - 10.0, self.now_s])
        return self.simulation.counts[first:last], time_s[first:last]

    def weigh(self, *, on):
        self.weighing.append(on)

    def use_calibration(self, calibration):
        self.calibrations.append(calibration)


class Desk:
    """Answers what is asked, at once."""

    def __init__(self, session, *answers):
        self.session = session
        self.answers = list(answers)
        self.asked = []
        self.rigs = []

    def use_rig(self, rig):
        self.rigs.append(rig)

    def ask_line(self, question, answer, text=""):
        self.asked.append(question)
        if self.answers:
            answer(self.answers.pop(0))
        else:
            answer(text)

    ask_key = ask_line


@pytest.fixture
def page_on(tmp_path, monkeypatch):
    def make(order, *answers, seed=2):
        monkeypatch.chdir(tmp_path)
        path = tmp_path / "rig.toml"
        path.write_text(demo_rig_file().read_text("utf-8"), "utf-8")
        desk = Desk(Session(simulate_weights(order, seed)), *answers)
        return WeightsPage(desk, read_rig(path), tmp_path / "pulls")

    return make


def play(page, until_s=None):
    """Look five times a second till the script or the round is over."""
    session = page.desk.session
    until_s = until_s or session.simulation.time_s[-1]
    while session.now_s < until_s and not (page.state and page.state.done):
        session.now_s += 0.2
        page.look()


def text_of(page, width=100, height=34):
    lines = page.draw(SimpleNamespace(), width, height)
    assert len(lines) <= height
    rows = ["".join(piece for piece, _ in line) for line in lines]
    assert all(len(row) <= width for row in rows)
    return "\n".join(rows)


MASSES = (5.0, 10.0, 20.0)


def test_a_calibration_from_the_first_weight_to_the_file(page_on, tmp_path):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg; M1; at cells")
    assert page.desk.session.weighing == [True]
    assert "Enter: a calibration" in text_of(page)
    page.press("enter", "enter")
    assert "1 of 14, round 1:  nothing on" in text_of(page)
    play(page, 24.0)
    assert "3 of 14, round 1:  10 kg on over cell left" in text_of(page)
    play(page)
    small = text_of(page, 80, 16)
    assert "Written: rig-weights-" in small
    assert "make the window taller" in small
    shown = text_of(page, height=50)
    assert " counts " in shown
    assert "All weights are taken" in shown
    assert "claims no class" in " ".join(shown.split())
    (file,) = tmp_path.glob("*.calibration.json")
    made = read_calibration(file)
    gains = page.desk.session.simulation.truth.gains
    for curve, true in zip(made.curves, gains, strict=True):
        # gravity of a place unknown is up to 0.3 % from the simulated shop's
        assert curve.counts_per_newton == pytest.approx(true, rel=4e-3)
    page.close()
    assert page.desk.session.weighing == [True, False]


def test_a_new_calibration_is_used_and_named_when_the_person_says_so(page_on):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg; M1", "y")
    before = page.rig.path.read_text("utf-8")
    page.press("enter", "enter")
    play(page)
    (used,) = page.desk.session.calibrations
    (rig,) = page.desk.rigs
    assert read_rig(page.rig.path).calibration_file == rig.calibration_file
    assert Calibration.from_rig(rig).fingerprint == used.fingerprint
    assert used.verified
    assert page.outcome[0].startswith("In use from now on")
    comments = [line for line in before.splitlines() if line.startswith("#")]
    assert [c for c in comments if c not in page.rig.path.read_text("utf-8")] == []


def test_a_new_calibration_is_not_used_unasked(page_on):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg; M1", "n")
    before = page.rig.path.read_text("utf-8")
    page.press("enter", "enter")
    play(page)
    assert page.desk.session.calibrations == []
    assert page.rig.path.read_text("utf-8") == before
    assert page.outcome[0].startswith("Not in use yet")
    assert "`calibration` in [rig]" in page.outcome[0]


def test_a_rig_file_changed_meanwhile_is_left_alone(page_on):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg; M1", "y")
    page.rig.path.write_text(page.rig.text + "# mine\n", "utf-8")
    page.press("enter", "enter")
    play(page)
    assert page.desk.session.calibrations == []
    assert "changed meanwhile" in page.outcome[0]


def test_the_place_in_the_rig_file_gives_the_gravity_of_the_weights(page_on, tmp_path):
    """9.819 m/s2 at 60 degrees against 9.80665: heavier weights, fewer counts a newton."""
    slopes, outcomes = [], []
    for latitude in (None, 60.0):
        page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg; M1")
        page.rig = replace(page.rig, latitude_deg=latitude)
        page.press("enter", "enter")
        play(page)
        (file,) = tmp_path.glob("*.calibration.json")
        slopes.append(read_calibration(file).curves[0].counts_per_newton)
        outcomes.append(" ".join(page.outcome))
        for each in tmp_path.glob("*-weights-*"):
            each.unlink()
    assert slopes[0] / slopes[1] == pytest.approx(9.8191 / 9.80665, rel=2e-5)
    assert "place is unknown" in outcomes[0]
    assert "not traceable" in outcomes[0]
    assert "latitude 60 deg" in outcomes[1]
    assert "unknown" not in outcomes[1]


def test_a_point_is_voided_with_a_reason_and_taken_again(page_on, tmp_path):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg; M1", "2")
    page.press("enter", "enter")
    play(page, 8.0)
    assert len(page.state.points) == 1
    page.press("void", "v")
    assert page.state.points[0].void == "wrong weight on"
    assert "void: wrong weight on" in text_of(page)
    (draft,) = tmp_path.glob("*-weights-*.csv")
    assert "wrong weight on" in draft.read_text()


def test_a_page_left_goes_on_from_its_draft(page_on):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg")
    page.press("enter", "enter")
    play(page, 34.0)
    taken = len(page.state.points)
    assert taken >= 2
    again = WeightsPage(page.desk, page.rig, page.pulls)
    again.press("enter", "enter")
    assert len(again.state.points) == taken
    assert f"{taken + 1} of 14" in text_of(again)


def test_the_ratio_check_and_the_check_weight_are_kept(page_on, tmp_path):
    page = page_on(WeightsOrder((15.0,), "both", 1))
    page.press("ratio", "r")
    play(page)
    assert "they agree" in text_of(page)
    kept = json.loads((tmp_path / "rig.ratio-checks.jsonl").read_text())
    assert kept["in_line_with_jack"] / kept["at_specimen_pin"] == pytest.approx(2.0, rel=0.01)
    other = page_on(WeightsOrder((10.0,), "cells", 1, 0.0), "10 kg")
    other.press("check", "c")
    play(other)
    assert "passed" in text_of(other)
    assert (tmp_path / "pulls" / "check-weights.jsonl").exists()


def test_a_ratio_that_is_off_bars_pulling_until_it_is_accepted(page_on, tmp_path):
    page = page_on(WeightsOrder((15.0,), "both", 1), "")
    rig = page.rig
    page.rig = replace(rig, lever=replace(rig.lever, jack_arm_mm=414.0))
    page.press("ratio", "r")
    play(page)
    assert "More than 1 % apart" in " ".join(text_of(page).split())
    page.close()
    assert page.desk.session.weighing[-1] is True  # no pull begins
    again = page_on(WeightsOrder((15.0,), "both", 1), "new pin is ordered")
    again.rig = page.rig
    again.press("ratio", "r")
    play(again)
    assert "accepted: new pin is ordered" in " ".join(text_of(again).split())
    again.close()
    assert again.desk.session.weighing[-1] is False
    kept = (tmp_path / "rig.ratio-checks.jsonl").read_text().splitlines()
    assert json.loads(kept[-1])["acknowledged"] == "new pin is ordered"


@pytest.mark.parametrize("typed", ["5, 10", "5 kg", "5 kg, 10 kg; good", "5 kg, 900 kg"])
def test_what_cannot_be_is_said_on_the_page(page_on, typed, tmp_path):
    page = page_on(WeightsOrder(MASSES), typed)
    page.press("enter", "enter")
    assert page.state is None
    assert page.outcome
    assert not list(tmp_path.glob("*weights*"))
    assert page.outcome[0].split(":")[0] in text_of(page)


@pytest.mark.parametrize(("width", "height"), [(60, 10), (80, 24), (200, 50)])
def test_it_fits_any_screen(page_on, width, height):
    page = page_on(WeightsOrder(MASSES), "5 kg, 10 kg, 20 kg")
    text_of(page, width, height)
    page.press("enter", "enter")
    play(page, 90.0)
    assert "round" in text_of(page, width, height)
