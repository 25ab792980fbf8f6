"""The weights page: guided rounds of weights on the console's session, begun while slack."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

from daq.faults import Fault, InputFault
from daq.force import guided_weights as guided
from daq.force.calibration import Calibration
from daq.force.checks_file import RatioFound, keep_check_weight, keep_ratio, ratio_problems
from daq.force.guided_weights import Guided, Look, Stretch, WeightsPlan
from daq.force.weights_draft import keep
from daq.force.weights_plan import check_plan, ratio_plan, read_masses
from daq.rig.rig import Rig
from tui.drawing import Line
from tui.page import Desk
from tui.rig_change import with_calibration, write_rig
from tui.view import View
from tui.weights_order import (
    USUAL,
    check_of,
    draft_file,
    finish,
    gravity_at,
    order_weights,
    ratio_of,
    resume_weights,
)
from tui.widgets.weights import VOID_REASONS, WeightsView, draw_weights

WEIGHTS, RATIO, CHECK = "WEIGHTS: calibration", "WEIGHTS: ratio check", "WEIGHTS: check weight"

NOT_USED = "Not in use yet: name it as `calibration` in [rig] of the rig file."


class WeightsPage:
    """Walks through the rounds with the session's raw counts; the rules are ``guided_weights``."""

    name = "weights"

    def __init__(self, desk: Desk, rig: Rig, pulls: Path) -> None:
        self.desk, self.rig, self.pulls = desk, rig, pulls
        self.title = "WEIGHTS"
        self.state: Guided | None = None
        self.found = Look("")
        self.outcome: tuple[str, ...] = ()
        self._made: Path | None = None
        self._to_accept: RatioFound | None = None
        self._blocks = bool(ratio_problems(rig))
        self._keep: Callable[[Guided, Stretch | None], None] = lambda *_: None
        self._end: Callable[[Guided], tuple[str, ...]] = lambda _: ()
        desk.session.weigh(on=True)

    def look(self) -> None:
        """Judge the newest counts; take the plateau if it may be taken."""
        if self.state is None or (self.state.done and not self.state.question):
            return
        self.state, self.found = guided.look(self.state, *self.desk.session.recent_counts())
        if self.found.taken is None:
            return
        self._safely(lambda: self._keep(self._begun, self.found.taken))
        if self.state.done and not self.state.question:
            self._finish()

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Return the lines of the page."""
        shown = WeightsView(self.title, self.state, self.found, self.outcome)
        return draw_weights(shown, width, height)

    def press(self, key: str, pressed: str) -> None:
        """Do what a key stands for."""
        if self.state is None:
            self._choose(key)
        elif self.state.question:
            if key in ("yes", "no"):
                self._answer(key == "yes")
        elif key == "enter" and self.found.may_force:
            self.state = guided.take_as_it_is(self.state)
        elif key == "void" and self.state.points and not self.state.done:
            reasons = "   ".join(f"{k} {reason}" for k, reason in VOID_REASONS.items())
            self.desk.ask_key(f"The last point is void, because:  {reasons}", self._void)

    def close(self) -> None:
        """The page is left: pulls begin again, unless the ratio is not to be believed."""
        self.desk.session.weigh(on=self._blocks)

    # What is begun

    def _choose(self, key: str) -> None:
        if key == "enter":
            draft = draft_file(self.rig, date.today())
            if draft.exists():
                self._safely(lambda: self._calibrate(draft, resume_weights(draft, self.rig)))
            else:
                question = "Which weights, how known, where? MASSES; KNOWN; at cells or specimen"
                self.desk.ask_line(question, self._order, USUAL)
        elif key == "ratio":
            self._begin(RATIO, ratio_plan(self.rig), self._ratio)
        elif key == "check":
            self.desk.ask_line("The check weight, on the cells:", self._check, "10 kg")

    def _order(self, text: str) -> None:
        draft = draft_file(self.rig, date.today())
        self._safely(lambda: self._calibrate(draft, order_weights(text, self.rig, draft)))

    def _calibrate(self, draft: Path, state: Guided) -> None:
        self._begin(WEIGHTS, state.plan, lambda done: self._calibrated(draft, done))
        self.state = state
        self._keep = lambda now, taken: keep(draft, now, taken)
        if state.done and not state.question:
            self._finish()

    def _check(self, text: str) -> None:
        def begin() -> None:
            masses = read_masses(text, "the check weight")
            if len(masses) != 1:
                raise InputFault(f"{text}: one weight is meant, such as 10 kg")
            plan = check_plan(self.rig, masses[0], "cells", "unknown")
            self._begin(CHECK, plan, lambda done: self._checked(done, masses[0][0]))

        self._safely(begin)

    def _begin(
        self, title: str, plan: WeightsPlan, end: Callable[[Guided], tuple[str, ...]]
    ) -> None:
        self.title, self._end, self.outcome = title, end, ()
        self.state, self.found = guided.begin(plan), Look("")

    # What comes of it

    def _answer(self, yes: bool) -> None:
        self.state = guided.answer(self._begun, yes)
        if self.state.refused:
            self.outcome = ("Stopped: look at the wiring, or at `sign` in the rig file.",)
            self.state = None

    def _void(self, pressed: str) -> None:
        if pressed not in VOID_REASONS:
            return
        self.state = guided.void(self._begun, len(self._begun.points), VOID_REASONS[pressed])
        self._safely(lambda: self._keep(self._begun, None))

    def _finish(self) -> None:
        try:
            self.outcome = self._end(self._begun)
        except Fault as fault:
            self.outcome = (str(fault),)
        if self._to_accept is not None:
            question = "More than 1 % apart. Go on all the same? Say why:"
            self.desk.ask_line(question, self._accept)
        if self._made is not None:
            question = f"Use it from now on? y names it in {self.rig.path}   any other key: no"
            self.desk.ask_key(question, self._use)

    def _calibrated(self, draft: Path, done: Guided) -> tuple[str, ...]:
        self._made, words = finish(draft, self.rig, done, date.today())
        return (NOT_USED, *words)

    def _use(self, key: str) -> None:
        file, self._made = self._made, None
        if file is None or key not in ("y", "Y"):
            return

        def use() -> None:
            changed = with_calibration(self.rig, file)
            calibration = Calibration.from_rig(changed)
            write_rig(changed, self.rig)
            self.desk.session.use_calibration(calibration)
            self.desk.use_rig(changed)
            self.rig = changed
            self.outcome = ("In use from now on, and named in the rig file.", *self.outcome[1:])

        self._safely(use)

    def _ratio(self, done: Guided) -> tuple[str, ...]:
        found = ratio_of(self.rig, done)
        try:
            check = found.beside(self.rig)
        except ValueError as error:
            raise InputFault(f"ratio check: {error}") from None
        file = keep_ratio(self.rig, found)
        self._blocks = check.blocks
        if not check.blocks:
            return (f"{check.words}.", f"Kept in {file}.")
        self._to_accept = found
        return (f"{check.words}.", f"Kept in {file}. No pull begins until then.")

    def _accept(self, text: str) -> None:
        found, self._to_accept = self._to_accept, None
        if found is None or not text.strip():
            return
        accepted = replace(found, acknowledged=" ".join(text.split()))
        self._safely(lambda: self._accepted(accepted))

    def _accepted(self, accepted: RatioFound) -> None:
        file = keep_ratio(self.rig, accepted)
        self._blocks = False
        self.outcome = (f"{accepted.beside(self.rig).words}.", f"Kept in {file}.")

    def _checked(self, done: Guided, typed: str) -> tuple[str, ...]:
        calibration = Calibration.from_rig(self.rig)
        check = check_of(self.rig, calibration, done, gravity_at(self.rig, None, None))
        file = keep_check_weight(
            self.pulls, check, rig=self.rig, calibration=calibration.fingerprint, typed=typed
        )
        return (f"{check.words}.", f"Kept in {file}.")

    @property
    def _begun(self) -> Guided:
        assert self.state is not None
        return self.state

    def _safely(self, act: Callable[[], None]) -> None:
        """What cannot be kept or begun is said on the page; the points in memory stay."""
        try:
            act()
        except Fault as fault:
            self.outcome = (str(fault),)
