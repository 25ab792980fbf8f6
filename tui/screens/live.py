"""The live screen: looks at the session some times a second and draws what it finds."""

import math
import time
from dataclasses import replace

import numpy as np
from textual.app import ComposeResult
from textual.screen import Screen
from textual.widgets import Input

from daq.live_reading import LiveReading, Phase, TraceBlock
from daq.samples import Flag
from tui.drawing import Line
from tui.pace import Wanted
from tui.page import Page
from tui.session import Session, empty_block
from tui.sounds import Cue, Listening, listen
from tui.theme import NUMBER, STOP, UNKNOWN, Palette
from tui.trace_columns import RecentTrace, Trace
from tui.view import ASKED_FOR, Lower, View, arrange
from tui.widgets.lines import (
    draw_ask,
    draw_cells,
    draw_chain,
    draw_keys,
    draw_notice,
    draw_page,
    draw_status,
    draw_strip,
    draw_top,
)
from tui.widgets.lower import draw_lower
from tui.widgets.numbers import draw_alarm, draw_force, draw_pace, draw_room, draw_small
from tui.widgets.pane import Pane
from tui.wording import Screen as Says
from tui.wording import as_seen, unknown

DRAWN = {
    "top": draw_top,
    "strip": draw_strip,
    "alarm": draw_alarm,
    "force": draw_force,
    "room": draw_room,
    "pace": draw_pace,
    "lower": draw_lower,
    "page": draw_page,
    "cells": draw_cells,
    "chain": draw_chain,
    "status": draw_status,
    "notice": draw_notice,
    "ask": draw_ask,
    "small": draw_small,
    "keys": draw_keys,
}
GROUNDS = {Says.STOP: STOP, Says.UNKNOWN: UNKNOWN}
MESSAGE_S = 6.0
NOTICE_S = 20.0
FRESH_S = 1.0


class LiveScreen(Screen[None]):
    """Draws the latest reading; holds only what a person chose to look at, and thinned traces."""

    CSS = """
    LiveScreen { overflow: hidden; }
    #line { height: 1; border: none; padding: 0 1; display: none; }
    """

    def __init__(self, session: Session, view: View, palette: Palette) -> None:
        super().__init__()
        self.session = session
        self.view = view
        self.palette = palette
        self.heard = Listening()
        self.muted: tuple[str, ...] = ()
        self._panes = {name: Pane(draw, name) for name, draw in DRAWN.items()}
        self._rows: dict[str, int] = {}
        self._message_until_s = 0.0
        self._moved_s = -math.inf
        self._last_second = 0.0
        self._noticed: tuple[str, ...] = ()

    def compose(self) -> ComposeResult:
        """Yield the panes, and the line for typing above the keys."""
        for name, pane in self._panes.items():
            yield pane
            if name == "ask":
                yield Input(id="line", select_on_focus=False)

    def on_mount(self) -> None:
        """Draw at once."""
        self.paint()

    def on_resize(self) -> None:
        """Share the rows out anew."""
        self.paint()

    def look(self) -> tuple[Cue, ...]:
        """Take the latest reading and draw it; return the cues that sound now."""
        reading = self._reading()
        self._follow(reading)
        moved = reading.samples > self.view.reading.samples
        before = self.view
        self.view = replace(
            self.view,
            reading=reading,
            beat=self.view.beat + moved,
            fresh=self._fresh(moved),
            frame=self.view.frame + 1,
            message=self.view.message if time.monotonic() < self._message_until_s else "",
        )
        self._give_way(before)
        if reading.notices != self._noticed:
            self._noticed = reading.notices
            self.say(reading.notices[-1] if reading.notices else "", NOTICE_S)
        self.paint()
        return self._hear(reading)

    def _give_way(self, before: View) -> None:
        """An alarm that is new takes the whole screen back, a load that is new the other screen."""
        now, page = self.view, self.view.page
        alarmed = now.screen is not Says.NUMBER and now.screen is not before.screen
        began = now.reading.phase is not Phase.SLACK and before.reading.phase is Phase.SLACK
        if alarmed and now.lower in ASKED_FOR:
            self.change(lower=Lower.CAUTIONS if now.cautions_due else Lower.TRACE)
        if page is not None and (alarmed or began):
            self.leave()
        elif page is not None:
            self._let_look(page)

    def _let_look(self, page: Page) -> None:
        try:
            page.look()
        except Exception as error:  # must not take the number away
            self.leave()
            self.say(f"{page.name}: that failed: {error!r}")

    def leave(self) -> None:
        """Leave the other screen, if one is open."""
        page = self.view.page
        self.change(page=None)
        if page is not None:
            page.close()

    def _reading(self) -> LiveReading:
        """Return the newest reading; one that cannot be had is an unknown force."""
        try:
            newest, ended = self.session.latest(), self.session.ended_because
        except Exception as error:
            return unknown(self.view.reading, f"the session does not answer: {error!r}")
        return as_seen(newest, time.monotonic_ns(), ended)

    def _fresh(self, moved: bool) -> bool:
        """Return whether samples came within the last second; slow boards send few."""
        now_s = time.monotonic()
        if moved:
            self._moved_s = now_s
        return now_s - self._moved_s < FRESH_S

    def _follow(self, reading: LiveReading) -> None:
        """Take the new samples into the traces; a new pull starts a new whole trace."""
        block, began_anew = since_anew(self.session.take_trace(), self._last_second)
        back = began_anew or reading.samples < self.view.reading.samples  # a replay went back
        if back:
            self.view = replace(self.view, recent=RecentTrace(), whole=Trace(0.0), marks_s=())
        self.view.recent.add(block)
        beyond_n = block.force_n[(block.flags & np.uint16(Flag.EXTRAPOLATED)) != 0]
        if reading.verified and beyond_n.size and beyond_n.min() < self.view.verified_n:
            self.view = replace(self.view, verified_n=float(beyond_n.min()))
        if block.seconds.size:
            self._last_second = float(block.seconds[-1])
        if back or reading.pull_number != self.view.reading.pull_number:
            self._new_whole(reading, block)
        elif reading.phase is not Phase.SLACK or reading.pull_number == 0:
            self.view.whole.add(block)

    def _new_whole(self, reading: LiveReading, block: TraceBlock) -> None:
        """Start the trace of a whole pull, from what is held of its beginning."""
        elapsed_s = reading.pull_elapsed_s if math.isfinite(reading.pull_elapsed_s) else 0.0
        start_s = self._last_second - elapsed_s
        whole = Trace(start_s)
        reaches_back = block.seconds.size and block.seconds[0] <= start_s
        whole.add(block if reaches_back else self.view.recent.block_from(start_s))
        self.view = replace(self.view, whole=whole, marks_s=())

    def _hear(self, reading: LiveReading) -> tuple[Cue, ...]:
        self.heard, cues = listen(
            self.heard,
            reading,
            self.view.pace,
            time.monotonic(),
            sound_on=self.view.sound_on,
            muted=self.muted,
            stroke_n=self.view.wanted.stroke_n,
        )
        return cues

    def paint(self) -> None:
        """Draw the view; rows are shared out anew only when what is shown changes."""
        if not self.is_mounted:
            return
        width, height = self.size
        rows = arrange(width, height, self.view)
        if rows != self._rows:
            self._rows = rows
            for name, pane in self._panes.items():
                pane.styles.height = rows.get(name, 0)
        ground = GROUNDS.get(self.view.screen, NUMBER)
        for name, pane in self._panes.items():
            pane.show(self.view, width, rows.get(name, 0), self.palette, ground)

    def say(self, message: str, seconds: float = MESSAGE_S) -> None:
        """Show an answer to the person for a while."""
        self._message_until_s = time.monotonic() + seconds
        self.view = replace(self.view, message=message)
        self.paint()

    def mark_here(self) -> None:
        """Draw a mark at the newest sample."""
        self.view = replace(self.view, marks_s=(*self.view.marks_s, self._last_second))

    def change(self, **changes: object) -> None:
        """Change what the person chose to see."""
        self.view = replace(self.view, **changes)  # type: ignore[arg-type]
        self.paint()

    def ask(self, question: Line, typing: bool, text: str = "") -> None:
        """Ask in the strip at the bottom; the number stays where it is."""
        self.change(question=question, typing=typing)
        line = self.query_one("#line", Input)
        line.display = typing
        line.value = text
        line.cursor_position = len(text)
        if typing:
            self.set_focus(line)  # at once: the next key may be waiting already

    def end_question(self) -> None:
        """Take the question away."""
        line = self.query_one("#line", Input)
        line.display = False
        self.set_focus(None)
        self.change(question=(), typing=False)


def since_anew(block: TraceBlock, last_second: float) -> tuple[TraceBlock, bool]:
    """Return what of a block came since its clock last began anew, as a board's does that is back.

    ``last_second`` is the newest time before the block. Second: whether it did begin anew.
    """
    falls = np.flatnonzero(np.diff(block.seconds, prepend=last_second) < 0.0)
    if not len(falls):
        return block, False
    new = slice(int(falls[-1]), None)
    return TraceBlock(block.seconds[new], block.force_n[new], block.flags[new]), True


def first_view(reading: LiveReading, unit: str, wanted: Wanted, cautions: bool) -> View:
    """Return the view a session starts with."""
    whole, recent = Trace(0.0), RecentTrace()
    whole.add(empty_block())
    lower = Lower.CAUTIONS if cautions else Lower.TRACE
    return View(reading, unit, wanted, whole, recent, lower=lower, cautions_due=cautions)
