"""The console driven by keys: what it asks the session for, and that the number stays."""

import asyncio
from dataclasses import replace

import pytest
from textual import events
from textual.widgets import Input

from daq.faults import Fault
from daq.live_reading import Phase, Trip
from tui import console
from tui.around import Around
from tui.console import Console
from tui.key_table import At
from tui.settings import Settings
from tui.sounds import Cue, Listening
from tui.terminal import WithoutColour
from tui.theme import LIGHT, PLAIN
from tui.view import Lower, arrange
from tui.widgets.lines import draw_ask
from tui.widgets.lower import draw_lower
from tui.wording import unknown

CHARACTERS = {"space": " ", "minus": "-", "question_mark": "?"}


async def press(pilot, keys):
    """Send keys as the driver does, and wait once for them all (``pilot.press`` waits for each)."""
    for key in keys:
        character = CHARACTERS.get(key, key if len(key) == 1 else None)
        pilot.app.post_message(events.Key(key, character))
        if key == "enter":  # the line answers the console in a message of its own
            await pilot.pause()
    await pilot.pause()


def driven(session, keys=(), size=(120, 40), *, then=None, **options):
    """Press keys on a console; return it, with what ``then(app)`` gave."""

    async def drive():
        app = Console(session, cautions=False, looks_per_s=0, **options)
        async with app.run_test(size=size) as pilot:
            app.look()
            await press(pilot, keys)
            app.look()
            return app, None if then is None else then(app)

    return asyncio.run(drive())


@pytest.mark.parametrize(
    ("state", "keys", "asked"),
    [
        ("slack", "z", [("zero",)]),
        ("slack", "zu", [("zero",), ("undo_zero",)]),
        ("rising", "z", []),
        ("rising", "m", [("mark", "mark")]),
        ("rising", ["space", "enter", "pagedown", "j", "f13"], [("mark", "mark")] * 5),
        ("rising", ["up", "tab", "shift+tab", "home"], []),
        ("stop", "a", [("acknowledge",)]),
        ("rising", "a", []),
        ("parted", "1", [("judge", "withdrawal", "")]),
        ("parted", ["minus"], [("judge", "stopped whole", "")]),
        ("parted", "2u", [("judge", "thread strip-out", ""), ("judge", "", "")]),
        ("rising", "1", [("mark", "mark")]),
        ("parted", ["d", "1"], [("discard", "grip slipped or bent")]),
        (
            "parted",
            ["d", "t", *"jaw slid", "enter", "u"],
            [("discard", "jaw slid"), ("discard", "")],
        ),
        ("parted", ["d", "t", "enter"], []),
        ("parted", ["d", "escape", "d", "0", "d", "t", *"jaw", "escape"], []),
        ("parted", ["1", "n", *"ok", "enter"], [("judge", "withdrawal", ""),
                                                 ("keep_word", {"note": "ok"}, None)]),
        ("parted", ["i", *"a.jpg", "enter"], [("keep_word", {"photo": "a.jpg"}, None)]),
        ("rising", ["p", "v", "r", "l", "o"], []),
        ("slack", "u", []),
    ],
)  # fmt: skip
def test_what_a_key_asks_for(in_state, state, keys, asked):
    session = in_state(state)
    keys = ["space" if key == " " else key for key in keys]
    driven(session, keys)
    assert session.asked == asked


def test_specimen_is_taken_as_key_and_value(in_state):
    session = in_state("slack")
    session.reading = replace(session.reading, specimen={})
    driven(session, ["s", *"label=A-02", "space", *"pilot_mm=8.5", "enter"])
    assert session.asked == [("set_specimen", {"label": "A-02", "pilot_mm": 8.5})]


def test_a_refusal_is_said(in_state):
    session = in_state("slack")
    session.refuse = Fault("No zero taken: the force is not quiet.")
    app, _ = driven(session, "z")
    assert app.live.view.message == "No zero taken: the force is not quiet."


def test_the_number_stays_while_a_line_is_typed(in_state):
    def rows(app):
        return app.live.query_one("#line", Input).display, app.live.query_one("#force").size.height

    _, (typing, height) = driven(in_state("rising"), ["d", "t", *"mzq"], then=rows)
    assert typing
    assert height >= 10


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (200, 50)])
def test_rows_add_up_to_the_screen(in_state, states, size):
    """Whatever is said and asked, the parts fill the screen and none is pushed off it."""
    session = in_state("rising")

    async def drive():
        app = Console(session, cautions=False, looks_per_s=0)
        async with app.run_test(size=size) as pilot:
            for state in ("rising", "parted", "loaded", "stop", "unknown"):
                session.reading = states[state]
                for key in ("d", "t", "escape", "h", "h", "h", "f", "escape", "o", "escape"):
                    await press(pilot, [key])
                    app.look()
                    await pilot.pause()
                    parts = [p.region for p in app.live.children if p.display and p.size.height]
                    assert sum(region.height for region in parts) == size[1], (state, key)
                    assert max(region.bottom for region in parts) == size[1], (state, key)

    asyncio.run(drive())


def test_a_stop_shows_while_a_line_is_typed(in_state):
    session = in_state("rising")

    def trip(app):
        session.reading = replace(
            session.reading, trip=Trip("specimen force", 1, 6300.0, "over the stop")
        )
        app.look()
        return app.live.view.screen, app.live.query_one("#alarm").styles.height.value

    _, (screen, rows) = driven(session, ["d", "t", *"slip"], then=trip)
    assert screen == "stop"
    assert rows > 10


def lower_text(app):
    """The rows of the lower part, as drawn."""
    rows = arrange(120, 40, app.live.view)
    lines = draw_lower(app.live.view, 120, rows["lower"])
    return rows, "\n".join("".join(piece for piece, _ in line) for line in lines)


@pytest.mark.parametrize(("key", "words"), [("h", "Keys at the rig"), ("f", "Find:")])
def test_help_is_there_while_the_force_is_unknown(in_state, key, words):
    """Before the first zero there is no force yet, and that is when a person reads the keys."""
    rows, seen = driven(in_state("no-zero"), [key], then=lower_text)[1]
    assert words in seen
    assert rows["strip"] == 1


@pytest.mark.parametrize("key", "hf")
def test_help_gives_way_to_an_alarm(in_state, key):
    session = in_state("rising")

    def trip(app):
        session.reading = replace(
            session.reading, trip=Trip("specimen force", 1, 6300.0, "over the stop")
        )
        app.look()
        return app.live.view.lower

    assert driven(session, [key], then=trip)[1] == "trace"


@pytest.mark.parametrize("key", "hf")
def test_a_stop_is_left_before_help_is_read(in_state, key):
    app, _ = driven(in_state("stop"), [key])
    assert app.live.view.lower == "trace"
    assert "the stop is latched" in app.live.view.message


@pytest.mark.parametrize(
    ("phase", "loaded", "asks"),
    [(Phase.SLACK, False, True), (Phase.SLACK, True, False), (Phase.PARTED, False, False)],
)
def test_a_board_that_goes_away_after_a_pull_hides_no_question(in_state, phase, loaded, asks):
    """While a load may be on, the alarm has the whole screen."""
    session = in_state("parted")
    gone = unknown(session.reading, "the port went away")
    session.reading = replace(gone, phase=phase, still_loaded=loaded)
    app, _ = driven(session)
    assert app.live.view.mode_due is asks
    drawn = "".join(text for line in draw_ask(app.live.view, 80, 4) for text, _ in line)
    assert ("How did pull" in drawn) is asks


def test_quit_at_slack_ends(in_state):
    app, _ = driven(in_state("slack"), "q")
    assert app.return_value == 0


@pytest.mark.parametrize(
    ("keys", "ended"),
    [("q", False), ("qn", False), ("qy", True), (["q", "escape"], False),
     (["ctrl+c"], False), (["ctrl+c", "ctrl+c"], True)],
)  # fmt: skip
@pytest.mark.parametrize("state", ["rising", "loaded", "unknown"])
def test_quit_while_loaded_asks(in_state, state, keys, ended):
    app, _ = driven(in_state(state), keys)
    assert (app.return_value == 0) is ended


def test_a_line_that_is_typed_can_be_left_by_ctrl_c(in_state):
    app, _ = driven(in_state("slack"), ["d", "t", *"abc", "ctrl+c"])
    assert app.return_value == 0


def test_unit_and_theme_go_round(in_state):
    app, _ = driven(in_state("rising"), "tkk")
    assert app.live.view.unit == "kgf"
    assert app.palette is LIGHT
    app, _ = driven(in_state("rising"), "ttkkkk")
    assert app.live.view.unit == "kN"


def test_help_and_back(in_state):
    app, _ = driven(in_state("rising"), "h")
    assert app.live.view.lower is Lower.HELP
    app, _ = driven(in_state("rising"), ["h", "question_mark"])
    assert app.live.view.lower is Lower.MORE_HELP
    for keys in ("hhh", ["h", "escape"]):
        app, _ = driven(in_state("rising"), keys)
        assert app.live.view.lower is Lower.TRACE


def test_expected_maximum_is_typed_with_its_unit(in_state):
    app, _ = driven(in_state("rising"), ["e", *"4.4", "space", *"kN", "enter"])
    assert app.live.view.wanted.expected_n == pytest.approx(4400.0)
    assert app.live.view.pace.word == "good"


def test_notices_of_the_session_are_shown(in_state):
    session = in_state("rising")

    def tell(app):
        session.reading = replace(session.reading, notices=("The board restarted.",))
        app.look()
        return app.live.view.message

    assert driven(session, then=tell)[1] == "The board restarted."


def test_a_new_pull_starts_a_new_trace_and_asks_for_its_mode_later(in_state):
    session = in_state("parted")

    def next_pull(app):
        assert app.live.view.mode_due
        session.reading = replace(
            session.reading, pull_number=10, phase=Phase.RISING, pull_elapsed_s=1.0
        )
        app.look()
        return app.live.view

    view = driven(session, then=next_pull)[1]
    assert not view.mode_due
    assert view.whole.start_s == pytest.approx(90.0, abs=0.1)
    assert view.marks_s == ()


def test_the_pulse_stops_when_data_stop(in_state):
    session = in_state("rising")

    def beats(app):
        app.look()
        moving = app.live.view.beat
        session.moving = False
        app.look()
        app.look()
        return moving, app.live.view.beat

    moving, still = driven(session, then=beats)[1]
    assert moving >= 2
    assert still == moving


@pytest.mark.parametrize(("at", "rings"), [(At.RIG, True), (At.REPLAY, False)])
def test_a_replay_that_stands_at_a_stop_rings_no_more(in_state, at, rings):
    """At the rig a stop sounds whether samples come or not."""
    session = in_state("stop")
    session.moving = False

    def heard(app):
        cues = []
        app.sound = cues.append
        app.live.heard = Listening()
        app.look()
        return Cue.STOP in cues

    assert driven(session, around=Around(at=at), then=heard)[1] is rings


def test_a_part_that_cannot_be_drawn_leaves_the_number(in_state):
    def broken(app):
        def fail(*_):
            raise RuntimeError("no trace")

        app.live.query_one("#lower").draw_lines = fail
        app.look()
        return app.live.query_one("#lower")._lines, app.live.query_one("#force")._lines

    lower, force = driven(in_state("rising"), then=broken)[1]
    assert "cannot be drawn" in lower[0][0][0]
    assert len(force) > 5


def test_a_session_that_fails_is_an_unknown_force(in_state):
    session = in_state("rising")

    def fails(app):
        def latest():
            raise OSError("the port went away")

        session.latest = latest
        app.look()
        return app.live.view

    view = driven(session, then=fails)[1]
    assert view.screen == "unknown"
    assert "the port went away" in view.reading.unknown_because


def test_a_wish_that_fails_leaves_the_number(in_state):
    session = in_state("rising")
    session.refuse = RuntimeError("the wish went wrong")
    app, _ = driven(session, "m")
    assert app.live.view.message == "that failed: RuntimeError('the wish went wrong')"


def test_resized_live(in_state):
    async def resize():
        app = Console(in_state("rising"), cautions=False, looks_per_s=0)
        async with app.run_test(size=(200, 50)) as pilot:
            app.look()
            sizes = []
            for size in ((80, 24), (40, 10), (120, 40)):
                await pilot.resize_terminal(*size)
                app.look()
                await pilot.pause()
                sizes.append(app.live.query_one("#force").size.height)
            return sizes

    small, none, middle = asyncio.run(resize())
    assert small >= 5 and none == 0 and middle >= 10


def test_no_colour_reaches_the_terminal(in_state, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")

    def filters(app):
        return app.get_line_filters(), app.palette

    shown, palette = driven(in_state("stop"), then=filters)[1]
    assert palette is PLAIN
    assert isinstance(shown[-1], WithoutColour) and len(shown) == 1


def test_bells_follow_the_cue(in_state, monkeypatch):
    rung = []
    monkeypatch.setattr(Console, "bell", lambda self: rung.append("bell"))
    driven(in_state("stop"))
    assert rung


def test_a_player_gets_the_cue(in_state, monkeypatch):
    called = []
    monkeypatch.setattr(console.subprocess, "Popen", lambda words, **_: called.append(words))
    around = Around(settings=Settings(player=("play-cue", "--quiet")))
    driven(in_state("stop"), around=around)
    assert called[0] == ["play-cue", "--quiet", "stop"]
