"""The other screens: drawn below the strip, left by themselves, asked through the same table."""

import asyncio
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from textual import events

from analysis.campaign_plan import Design, Plan, board_of, factor_of, make_pulls
from daq.faults import Fault
from daq.live_reading import Phase, Trip
from daq.rig.rig_file import read_rig
from daq.wire.proposal import Proposal
from daq.wire.serial_port import AttachedPort
from tui.around import Around
from tui.commands.demo import demo_rig_file
from tui.console import Console
from tui.day import DayPull
from tui.key_table import PAGE_KEYS, At, shown_key
from tui.live_session import usable_rig
from tui.rig_change import with_calibration, write_rig
from tui.screens import link_page
from tui.screens.link_page import LinkPlace
from tui.screens.pulls_page import grouping_keys
from tui.settings import Settings
from tui.trace_columns import Columns

SIZES = ((80, 24), (120, 40), (200, 50))
OPENED_BY = {"plan": "p", "pulls": "v", "rig": "r", "zeros": "x", "link": "l", "settings": "o"}
RIG = usable_rig(demo_rig_file())


def curve_to(top_n):
    """A straight climb of 60 s and a drop, thinned to 120 columns."""
    force = np.concatenate([np.linspace(0.0, top_n, 100), np.full(20, 0.1 * top_n)])
    return Columns(force - 5.0, force + 5.0, np.zeros(120, np.uint16), 0.0, 0.5)


def pulls_of_a_day():
    """Invented pulls: two levels on two boards, one ended whole, one invalid, one not readable."""
    rows = [
        ("A-01", "8.0", "A", "failed", "withdrawal", 4690.0),
        ("A-02", "8.5", "A", "failed", "thread strip-out", 4250.0),
        ("B-01", "8.0", "B", "at least", "stopped whole", 6200.0),
        ("B-02", "8.5", "B", "invalid", "", 2130.0),
    ]
    pulls = [
        DayPull(
            Path(f"{label}.h5"),
            {"label": label, "pilot_mm": pilot, "board": board, "series": "inserts"},
            kind,
            mode,
            top_n,
            0.02 * top_n,
            74.0,
            "grip slipped or bent" if kind == "invalid" else "",
            curve=curve_to(top_n),
        )
        for label, pilot, board, kind, mode, top_n in rows
    ]
    return (*pulls, DayPull(Path("open.h5"), refused="open.h5: is still being written."))


@pytest.fixture
def plan():
    design = Design(
        (factor_of("pilot", ["8.0 mm", "8.5 mm", "9.0 mm"]),), (board_of("A", {}),), 1, 7, {}
    )
    return Plan(design, make_pulls(design), question="Does the pilot matter?")


@pytest.fixture(autouse=True)
def no_real_ports(monkeypatch):
    port = AttachedPort("/dev/ttyUSB0", "/dev/serial/by-id/usb-board", "1A86:7523", "77", "adapter")
    monkeypatch.setattr(link_page, "attached_ports", lambda: [port])


def shown(session, keys, *, size=(120, 40), then=None, around=None):
    """Press keys on a console; return the lines of its page, and what ``then`` gave."""

    async def drive():
        app = Console(session, cautions=False, looks_per_s=0, around=around or Around(rig=RIG))
        async with app.run_test(size=size) as pilot:
            app.look()
            app.day.pulls = pulls_of_a_day()
            for key in keys:
                app.post_message(events.Key(key, key if len(key) == 1 else None))
                await pilot.pause()
            app.look()
            await pilot.pause()
            page = ["".join(text for text, _ in line) for line in app.live._panes["page"]._lines]
            return page, None if then is None else then(app)

    return asyncio.run(drive())


def whole_text(app):
    return "\n".join(
        "".join(text for text, _ in line)
        for pane in app.live._panes.values()
        for line in pane._lines
    )


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("page", OPENED_BY)
def test_each_page_keeps_force_state_and_room(in_state, plan, page, size):
    around = Around(rig=RIG, plan=plan)
    lines, text = shown(
        in_state("slack"), OPENED_BY[page], size=size, then=whole_text, around=around
    )
    assert len(lines) <= size[1] - 6
    assert max(map(len, lines)) <= size[0]
    assert any(line.strip() for line in lines)
    for words in ("0.01 kN", "slack", "room left 6.19 kN", "Esc", "data live"):
        assert words in text


@pytest.mark.parametrize("page", OPENED_BY)
def test_the_footer_of_a_page_is_its_table(in_state, page):
    foot = shown(
        in_state("slack"), OPENED_BY[page], size=(200, 50),
        then=lambda app: "".join(t for t, _ in app.live._panes["keys"]._lines[0]),
    )[1]  # fmt: skip
    for key in PAGE_KEYS[page]:
        assert f" {shown_key(key.key)}  {key.label}" in foot


@pytest.mark.parametrize("page", OPENED_BY)
@pytest.mark.parametrize(
    "changes",
    [
        {"phase": Phase.RISING, "force_n": 700.0},
        {"trip": Trip("specimen force", 1, 6300.0, "over the stop")},
        {"live": False, "unknown_because": "no data for 0.6 s", "force_n": float("nan")},
    ],
    ids=["load", "stop", "unknown"],
)
def test_load_stop_and_unknown_take_the_whole_screen_back(in_state, page, changes):
    session = in_state("slack")

    def happen(app):
        opened = app.live.view.page
        session.reading = replace(session.reading, **changes)
        app.look()
        return opened, app.live.view.page

    opened, after = shown(session, OPENED_BY[page], then=happen)[1]
    assert opened is not None and after is None


@pytest.mark.parametrize("state", ["rising", "falling", "loaded", "stop"])
def test_no_page_opens_over_a_load_or_a_stop(in_state, state):
    for key in OPENED_BY.values():
        assert shown(in_state(state), key, then=lambda app: app.live.view.page)[1] is None


def test_a_page_may_be_opened_while_the_force_was_never_known(in_state):
    _, text = shown(in_state("no-zero"), "l", then=whole_text)
    assert "FORCE UNKNOWN · DO NOT CRANK" in text and "usb-board" in text


def test_a_page_that_fails_is_left(in_state):
    def fail(app):
        app.live.view.page.look = lambda: 1 / 0
        app.look()
        return app.live.view

    view = shown(in_state("slack"), "o", then=fail)[1]
    assert view.page is None and "that failed" in view.message


# Pulls of the day


def test_the_list_tells_failed_whole_and_invalid_apart(in_state):
    lines, _ = shown(in_state("slack"), "v")
    text = "\n".join(lines)
    for words in ("● A-01", "→ B-01", "≥  6.20 kN", "× B-02", "grip slipped", "cannot be read"):
        assert words in text


def test_a_chosen_pull_is_told_in_full(in_state):
    lines, _ = shown(in_state("slack"), ["v", "up"])
    assert any("B-02: invalid, 2.13 kN give or take 0.04 (95 %), after 1:14" in s for s in lines)
    assert any("INVALID: grip slipped or bent" in line for line in lines)


def test_dots_by_group(in_state):
    lines, _ = shown(in_state("slack"), ["v", "v"])
    rows = [line for line in lines if "n 1" in line or "n 2" in line]
    assert any("by pilot_mm" in line for line in lines)
    assert len(rows) == 2 and "≥ " in rows[0] and "●" in rows[0]


def test_grouping_offers_what_differs_varied_first():
    assert grouping_keys(pulls_of_a_day()[:4]) == ["pilot_mm", "board"]


def test_curves_laid_over_one_another_carry_letters(in_state):
    lines, _ = shown(in_state("slack"), ["v", *["up"] * 2, "enter", "up", "enter"])
    right = "\n".join(line[47:] for line in lines[1:])
    assert "a" in right and "b" in right
    assert any(line.strip().startswith("a → B-01") for line in lines)


@pytest.mark.parametrize(
    ("keys", "asked"),
    [
        ("1", {"mode": "withdrawal"}),
        ("-", {"mode": "stopped whole"}),
        (["d", "2"], {"invalid": "specimen slid or clamp lifted"}),
        (["n", *"saw", "enter"], {"note": "saw"}),
        (["i", *"a.jpg", "enter"], {"photo": "a.jpg"}),
    ],
)
def test_an_older_pull_can_be_judged(in_state, keys, asked):
    session = in_state("slack")
    shown(session, ["v", "pageup", *keys])
    assert session.asked == [("keep_word", asked, Path("A-01.h5"))]


def test_an_invalid_pull_counts_again(in_state):
    session = in_state("slack")
    shown(session, ["v", "up", "d"])
    assert session.asked == [("keep_word", {"invalid": ""}, Path("B-02.h5"))]


# Plan, rig, link, settings


def test_the_plan_shows_what_is_done_and_what_remains(in_state, plan):
    session = in_state("slack")
    session.reading = replace(session.reading, specimen={"label": "A-03"})
    lines, _ = shown(session, "p", around=Around(rig=RIG, plan=plan))
    text = "\n".join(lines)
    assert "Does the pilot matter?" in text
    assert "2 of 3 pulled" in text and "1 remain" in text
    assert "✓ 4.69 kN" in next(line for line in lines if " A-01 " in line)
    assert "on the rig" in next(line for line in lines if " A-03 " in line)


def test_the_plan_says_what_does_not_count(in_state, plan):
    """An invalid pull is done with, and is missing from the answer."""
    session = in_state("slack")
    change = [*("v", "pageup"), "d", "1", "escape", "p"]
    lines, _ = shown(session, change, around=Around(rig=RIG, plan=plan))
    assert "1 invalid: spare wood" in "\n".join(lines)
    assert "× 4.69 kN  invalid" in next(line for line in lines if " A-01 " in line)


def test_a_planned_specimen_is_put_on_the_rig(in_state, plan):
    session = in_state("slack")
    shown(session, ["p", "pageup", "enter"], around=Around(rig=RIG, plan=plan))
    ((wish, specimen),) = session.asked
    assert wish == "set_specimen"
    assert specimen["label"] == plan.pulls[0].label and specimen["run"] == 1.0


def test_without_a_plan_the_page_says_how_to_make_one(in_state):
    lines, _ = shown(in_state("slack"), "p")
    assert any("pullstand plan NEW_FOLDER" in line for line in lines)


def test_the_plan_leads_the_pace(in_state, plan):
    pulls = tuple(replace(pull, expected_n=4321.0) for pull in plan.pulls)
    session = in_state("slack")
    session.reading = replace(session.reading, specimen={"label": pulls[0].label})
    around = Around(rig=RIG, plan=replace(plan, pulls=pulls))
    wanted = shown(session, "", then=lambda app: app.live.view.wanted, around=around)[1]
    assert wanted.expected_n == 4321.0


def test_the_rig_page_shows_another_ratio_beside(in_state):
    lines, _ = shown(in_state("slack"), ["r", "e", "3", "enter"], size=(120, 60))
    assert any("at 2:1" in line and "at 3:1" in line for line in lines)


def test_settings_change_at_once_and_are_kept(in_state, tmp_path):
    file = tmp_path / "console.toml"
    around = Around(rig=RIG, settings=Settings(), settings_file=file)
    keys = ["o", "enter", *["down"] * 3, "enter"]
    view = shown(in_state("slack"), keys, around=around, then=lambda app: app.live)[1]
    assert view.view.unit == "N" and view.muted == ("pace",)
    text = file.read_text(encoding="utf-8")
    assert 'unit = "N"' in text and '["pace"]' in text


def test_the_time_to_the_maximum_is_typed(in_state):
    keys = ["o", "down", "down", "enter", *"300", "space", *"s+-120", "space", "s", "enter"]
    wanted = shown(in_state("slack"), keys, then=lambda app: app.live.view.wanted)[1]
    assert (wanted.time_s, wanted.within_s) == (300.0, 120.0)


def test_the_port_of_this_session_is_not_opened_twice(in_state):
    place = LinkPlace(None, RIG.link, ("left", "right"), "/dev/ttyUSB0")
    around = Around(rig=RIG, link=place)
    lines, text = shown(in_state("slack"), ["l", "enter"], around=around, then=whole_text)
    assert "in use by this session" in "\n".join(lines)
    assert "has that port open" in text


def test_a_port_that_is_open_is_listed_though_nothing_is_attached(in_state, monkeypatch):
    """A port of another machine, or a simulated one."""
    monkeypatch.setattr(link_page, "attached_ports", list)
    place = LinkPlace(None, RIG.link, ("left", "right"), "./board")
    lines, _ = shown(in_state("slack"), "l", around=Around(rig=RIG, link=place))
    assert any("./board" in line and "in use by this session" in line for line in lines)


def test_what_the_link_page_wrote_is_what_the_next_change_begins_with(in_state, tmp_path):
    """The weights page writes only into the text it knows."""
    file = tmp_path / "rig.toml"
    file.write_text(demo_rig_file().read_text("utf-8"), "utf-8")
    rig = read_rig(file)
    place = LinkPlace(file, rig.link, ("left", "right"))
    proposal = Proposal(replace(rig.link, baud=9600), 1.0, 90, ())

    def take(app):
        page = app.view.page
        page.port, page.proposal = "/dev/ttyUSB0", proposal
        page.press("take", "y")
        changed = with_calibration(app.around.rig, tmp_path / "cal.json")
        write_rig(changed, app.around.rig)
        return file.read_text("utf-8")

    text = shown(in_state("slack"), "l", around=Around(rig=rig, link=place), then=take)[1]
    assert "baud = 9600" in text and 'port = "/dev/ttyUSB0"' in text
    assert 'calibration = "cal.json"' in text


def test_a_ratio_that_is_none_is_refused_in_words(in_state):
    keys = ["r", "e", *"abc", "enter"]
    text = shown(in_state("slack"), keys, then=whole_text)[1]
    assert "not taken: abc is no ratio; write 3 or 3:1" in text


def test_weights_without_a_board_are_refused_in_words(in_state, tmp_path):
    session = in_state("no-zero")
    session.refuse = Fault("There is no board yet.")
    around = Around(rig=RIG, folder=tmp_path)
    message = shown(session, "w", around=around, then=lambda app: app.live.view.message)[1]
    assert message == "There is no board yet."


# Replay and practice


class Led:
    """Writes down how it is led."""

    def __init__(self):
        self.told = []

    words = "REPLAY plays"

    def pause(self):
        self.told.append("pause")

    def skip(self, seconds, *, stand=False):
        self.told.append((seconds, stand))

    def quicken(self, factor):
        self.told.append(factor)

    def turn(self, turns):
        self.told.append(turns)

    def fresh(self):
        self.told.append("fresh")


def test_keys_lead_a_replay(in_state):
    led = Led()
    keys = ["space", "right", "left", ".", ",", "up", "down", "home", "m", "z", "1", "v"]
    around = Around(at=At.REPLAY, rig=RIG, playing=led)
    session = in_state("parted")
    text = shown(session, keys, around=around, then=whole_text)[1]
    steps = [(5.0, False), (-5.0, False), (0.1, True), (-0.1, True)]
    assert led.told == ["pause", *steps, 2.0, 0.5, (float("-inf"), False)]
    assert session.asked == []
    assert "REPLAY plays" in text and "How did pull" not in text


def test_keys_crank_in_practice(in_state):
    led = Led()
    around = Around(at=At.PRACTICE, rig=RIG, crank=led)
    text = shown(in_state("rising"), ["up", "up", "down", "g"], around=around, then=whole_text)[1]
    assert led.told == [0.25, 0.25, -0.25, "fresh"]
    assert "PRACTICE, simulated" in text
