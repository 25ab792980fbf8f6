"""The plan and its progress: which pulls are done, which one is on the rig, which remain."""

import math
from collections.abc import Mapping

from analysis.campaign_plan import Plan, PlannedPull
from tui import wording
from tui.day import Day, DayPull
from tui.drawing import EMPTY, Line, fit
from tui.page import Desk
from tui.view import View
from tui.widgets.page_parts import listed, moved

NO_PLAN = (
    "No plan: this session takes its specimens from you (key s on the live screen).",
    "A plan is made before the session:",
    "    pullstand plan NEW_FOLDER --factor ... --board ...      (--help shows an example)",
    "and followed with",
    "    pullstand pull --plan FOLDER --rig FILE",
)


class PlanPage:
    """The list of a plan against what the folder of recordings holds."""

    name = "plan"

    def __init__(self, desk: Desk, plan: Plan | None, day: Day) -> None:
        self.desk, self.plan, self.day = desk, plan, day
        self.chosen = -1  # not yet: the first that remains
        if plan is not None:
            day.read()

    def look(self) -> None:
        """Take in what the reader has."""
        self.day.look()

    def close(self) -> None:
        """Nothing more is read."""
        self.day.close()

    def press(self, key: str, pressed: str) -> None:
        """Do what a key stands for."""
        if self.plan is None:
            return
        if key in ("up", "down"):
            self.chosen = moved(self._at(), key, pressed, len(self.plan.pulls))
        elif key == "put_on":
            pull = self.plan.pulls[self._at()]
            specimen = {**pull.specimen, "run": float(pull.run)}
            self.desk.request(
                lambda: self.desk.session.set_specimen(specimen), f"{pull.label} is on the rig"
            )

    def _at(self) -> int:
        """Return the chosen line; before one is chosen, the first that remains."""
        if self.plan is None or self.chosen >= 0:
            return max(self.chosen, 0)
        done = done_by_label(self.day)
        return next((at for at, p in enumerate(self.plan.pulls) if p.label not in done), 0)

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Draw how far it is, and the list."""
        if self.plan is None:
            return [EMPTY, *(fit(((f" {line}", ""),), width) for line in NO_PLAN)]
        done, on_rig = done_by_label(self.day), str(view.reading.specimen.get("label", ""))
        pulls = self.plan.pulls
        ready = sum(pull.label in done for pull in pulls)
        bar = "█" * round(ready / len(pulls) * 30)
        spoilt = sum(pull.label in done and done[pull.label].kind == "invalid" for pull in pulls)
        more = f", {spoilt} invalid: spare wood, a label by s" if spoilt else ""
        more += "   reading ..." if self.day.reading else ""
        head: Line = (
            (f" {ready} of {len(pulls)} pulled ", "strong"),
            (bar.ljust(30, "·"), "room"),
            (f"  {len(pulls) - ready} remain{more}", ""),
        )
        lines = [self._row(pull, done.get(pull.label), on_rig, view.unit) for pull in pulls]
        question = ((f" {self.plan.question}", "quiet"),)
        return [
            fit(head, width),
            *([fit(question, width)] if self.plan.question else []),
            *listed(lines, self._at(), width, max(1, height - 2)),
        ][:height]

    def _row(self, pull: PlannedPull, done: DayPull | None, on_rig: str, unit: str) -> Line:
        levels = ", ".join(f"{name} {level}" for name, level in pull.levels.items())
        board = f"board {pull.board}" if pull.board else ""
        head = f"{pull.run:>3}  {pull.label:<10} {levels}  {board}  "
        if done is not None:
            words = done.kind if done.kind != "failed" else done.mode or "no mode yet"
            sign = "×" if done.kind == "invalid" else "✓"
            text = f"{sign} {wording.with_unit(done.maximum_n, unit)}  {words}"
            return ((head, "quiet"), (text, "quiet"))
        if pull.label == on_rig:
            return ((head, "strong"), ("◀ on the rig", "good"))
        expected = ""
        if math.isfinite(pull.expected_n):
            expected = f"expect {wording.with_unit(pull.expected_n, unit)}"
        return ((head, ""), (expected, "quiet"))


def done_by_label(day: Day) -> Mapping[str, DayPull]:
    """Return the newest readable pull of each label."""
    return {pull.label: pull for pull in day.pulls if not pull.refused}
