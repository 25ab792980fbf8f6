"""A whole session at the console on a real port, driven by keys: what is seen is what is kept."""

import asyncio
import contextlib
import html
import re
import time
from pathlib import Path

import h5py
import pytest
from textual import events

from analysis.campaign import load_results
from analysis.campaign_plan import Design, Plan, board_of, factor_of, make_pulls
from analysis.plan_folder import write_plan
from daq.faults import DeviceFault
from daq.live_reading import Phase, Recording
from daq.record.events import EventKind
from daq.record.reader import read_recording
from daq.session_settings import SessionSettings
from simulators import scenario
from simulators.serving import BoardOrder, serve
from tui.around import Around
from tui.commands.demo import demo_rig_file
from tui.console import Console
from tui.live_session import open_session, usable_rig
from tui.pace import wanted_on
from tui.plan_following import PlanFollower, specimens_to_come

pytest.importorskip("termios")
pytestmark = pytest.mark.slow

SPEED = 30.0
DEADLINE_S = 30.0
#: Quiet for longer before and after each pull, so that a person (or a test) can act.
PATIENT = (Path(scenario.__file__).parent / "scenarios" / "hardwood-withdrawal.toml").read_text(
    encoding="utf-8"
) + "quiet_before_s = 50\nquiet_after_s = 50\ntime_to_max_s = 40\n"


@pytest.fixture
def planned(tmp_path):
    design = Design(
        (factor_of("pilot", ["8.0 mm", "8.5 mm", "9.0 mm"]),), (board_of("A", {}),), 1, 7, {}
    )
    plan = Plan(design, make_pulls(design), question="Does the pilot matter?")
    write_plan(tmp_path / "plan", plan)
    return plan


@pytest.fixture
def board(tmp_path):
    file = tmp_path / "patient.toml"
    file.write_text(PATIENT, encoding="utf-8")
    with serve(BoardOrder(str(file), seed=3, pulls=2, speed=SPEED)) as served:
        yield served


class Person:
    """Presses keys and waits until something is seen."""

    def __init__(self, app, pilot):
        self.app, self.pilot = app, pilot

    async def press(self, *keys):
        for key in keys:
            self.app.post_message(events.Key(key, key if len(key) == 1 else None))
            await self.pilot.pause()
            if key == "enter":  # the line answers in a message of its own
                await self.pilot.pause(0.05)

    async def until(self, seen, what):
        ends = time.monotonic() + DEADLINE_S
        while not seen(self.app.live.view):
            assert time.monotonic() < ends, f"{what}: {self.text()}"
            await self.pilot.pause(0.02)

    def text(self):
        self.app.live.paint()
        svg = html.unescape(self.app.export_screenshot())
        return " ".join(re.findall(r">([^<>]+)</text>", svg)).replace("\xa0", " ")


def over(view, number):
    """Whether a pull of this number has ended and is on disk."""
    reading = view.reading
    ended = reading.pull_number == number and reading.phase is Phase.SLACK
    return ended and reading.recording.state is Recording.SAVED


async def day_at_the_rig(app, first, second):
    """Zero, pull, mark, judge; discard another; look at both; quit. Return what was seen."""
    seen = {}
    async with app.run_test(size=(120, 40)) as pilot:
        me = Person(app, pilot)
        await me.until(lambda view: view.reading.samples > 400, "data")
        assert "no zero taken" in me.text()
        await me.press("z")
        await me.until(lambda view: view.reading.live, "zero")
        assert "Before the first pull" in me.text()
        await me.press("c")
        assert app.live.view.reading.specimen["label"] == first
        await me.until(lambda view: view.reading.phase is Phase.RISING, "first pull")
        await me.press("m")
        await me.until(lambda view: view.mode_due, "first pull over")
        await me.press("2")
        await me.until(lambda view: over(view, 1), "first pull saved")
        seen[1] = app.live.view.reading.maximum_n
        await me.until(lambda view: view.reading.specimen.get("label") == second, "next of plan")
        await me.press("p")
        await me.until(lambda _: "1 of 3 pulled" in me.text(), "plan")
        assert "on the rig" in me.text()
        await me.until(lambda view: view.reading.phase is Phase.RISING, "second pull")
        assert app.live.view.page is None  # the load took the whole screen back
        await me.until(lambda view: over(view, 2), "second pull saved")
        seen[2] = app.live.view.reading.maximum_n
        await me.press("n", *"ok", "enter", "d", "1")
        await me.until(lambda view: not view.reading.live, "end of the script")
        await me.press("v")
        await me.until(lambda _: len(app.day.pulls) == 2 and not app.day.reading, "pulls")
        seen["day"] = [pull.maximum_n for pull in app.day.pulls]
        await me.press("escape", "q", "y")  # asked for: the force is unknown now
    seen["code"] = app.return_value
    return seen


def test_what_is_seen_is_what_is_kept(board, planned, tmp_path):
    rig, out = usable_rig(demo_rig_file()), tmp_path / "pulls"
    to_come = specimens_to_come(planned, (), {})
    follower = PlanFollower(planned, tmp_path / "plan", ())
    session = open_session(
        rig,
        board.port,
        out,
        SessionSettings(to_come[0], to_come),
        after_saved=follower.pulled,
    )
    app = Console(
        session, wanted=wanted_on(rig, 4000.0), around=Around(rig=rig, folder=out, plan=planned)
    )
    session.start()
    try:
        labels = [str(specimen["label"]) for specimen in to_come]
        seen = asyncio.run(day_at_the_rig(app, *labels[:2]))
    finally:
        with contextlib.suppress(DeviceFault):  # the script is over: the board went away
            session.close()
    assert seen["code"] == 0
    assert len(session.saved) == 2
    results = load_results(session.saved)
    for number, (path, result) in enumerate(zip(session.saved, results, strict=True), start=1):
        with h5py.File(path) as file:
            in_file = float(file["entry/force/at_specimen_n"][:].max())
        assert result.max_force_n == pytest.approx(seen[number], rel=1e-9)
        assert in_file == pytest.approx(seen[number], rel=1e-9)
        assert seen["day"][number - 1] == pytest.approx(seen[number], rel=1e-9)
        assert result.specimen["label"] == labels[number - 1]
    assert (results[0].mode, results[0].kind.value) == ("thread strip-out", "failed")
    assert (results[1].reason, results[1].kind.value) == ("grip slipped or bent", "invalid")
    first, second = map(read_recording, session.saved)
    assert any(event.kind is EventKind.MARK for event in first.events)
    assert any(change.change.get("note") == "ok" for change in second.history)
    truth = board.truth["pulls"]
    for number, true in enumerate(truth, start=1):
        assert seen[number] == pytest.approx(true["max_force_n"], rel=0.01)
