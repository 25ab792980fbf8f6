"""The pulls of the day: all as dots by group, or each curve, several over one another."""

import math
import string
from collections.abc import Callable, Sequence
from pathlib import Path

from tui import wording
from tui.day import Day, DayPull
from tui.discard import ask_reason
from tui.drawing import EMPTY, Line, beside, fit
from tui.key_table import MODE_OF_KEY
from tui.page import Desk
from tui.view import View
from tui.widgets.page_parts import curves, listed, moved

LETTERS = string.ascii_lowercase
MARKS = {"failed": "●", "at least": "→", "partial": "○", "invalid": "×"}
#: Keys of a specimen that name one pull rather than a group.
OWN = ("label", "run", "hole", "photo")
#: What the wood brings along, rather than what a person varies.
BLOCKS = ("board", "density_kg_m3", "moisture_pct")


class PullsPage:
    """Shows what a `Day` has read; words added go through the session's recorder."""

    name = "pulls"

    def __init__(self, desk: Desk, day: Day) -> None:
        self.desk, self.day = desk, day
        self._chosen: int | None = None  # the newest, until a person chooses
        self.over: list[Path] = []
        self.dots = False
        self.by = ""
        day.read()

    def look(self) -> None:
        """Take in what the reader has."""
        self.day.look()

    @property
    def chosen(self) -> int:
        """Which pull is chosen."""
        newest = max(0, len(self.day.pulls) - 1)
        return newest if self._chosen is None else min(self._chosen, newest)

    def close(self) -> None:
        """Nothing more is read."""
        self.day.close()

    # Keys

    def press(self, key: str, pressed: str) -> None:
        """Do what a key stands for."""
        if key in ("up", "down"):
            self._chosen = moved(self.chosen, key, pressed, len(self.day.pulls))
        elif key == "dots":
            self.dots = not self.dots
            self.by = self.by or next(iter(grouping_keys(self.day.pulls)), "")
        elif key == "group":
            keys = grouping_keys(self.day.pulls)
            at = keys.index(self.by) + 1 if self.by in keys else 0
            self.by = keys[at % len(keys)] if keys else ""
            self.dots = True
        elif self.day.pulls:
            self._about(self.day.pulls[self.chosen], key, pressed)

    def _about(self, pull: DayPull, key: str, pressed: str) -> None:
        if pull.refused:
            self.desk.say(pull.refused)
        elif key == "overlay":
            taken = pull.file in self.over
            self.over = [f for f in self.over if f != pull.file] + ([] if taken else [pull.file])
        elif key == "mode":
            mode = MODE_OF_KEY[pressed]
            self._keep(pull, {"mode": mode}, mode)
        elif key == "note":
            self.desk.ask_line(f"One line about {pull.label}:", self._words(pull, "note"))
        elif key == "photo":
            self.desk.ask_line(f"Where is the photo of {pull.label}?", self._words(pull, "photo"))
        elif key == "discard" and pull.reason:
            self._keep(pull, {"invalid": ""}, "valid again")
        elif key == "discard":
            ask_reason(self.desk, pull.label, self._discard(pull))

    def _words(self, pull: DayPull, key: str) -> "Callable[[str], None]":
        def take(text: str) -> None:
            if text.strip():
                self._keep(pull, {key: text.strip()}, text.strip())

        return take

    def _discard(self, pull: DayPull) -> "Callable[[str], None]":
        def take(reason: str) -> None:
            self._keep(pull, {"invalid": reason}, f"invalid: {reason}")

        return take

    def _keep(self, pull: DayPull, change: dict[str, str], done: str) -> None:
        def keep() -> None:
            self.desk.session.keep_word(change, "judged on the page of the pulls", pull.file)

        if not self.desk.request(keep, f"{pull.label}: {done}"):
            return
        shown = dict(change)
        if "invalid" in shown:
            shown = {"reason": shown["invalid"], "kind": "invalid" if shown["invalid"] else "?"}
        self.day.change(pull.file, **shown)

    # Drawing

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Draw the list, and beside it the dots or the curves."""
        pulls = self.day.pulls
        if not pulls:
            return self._nothing(width)
        left = min(46, width // 2)
        text = [self._row(pull, view.unit) for pull in pulls]
        about = self._about_lines(pulls[self.chosen], view.unit, width)
        rows = max(1, height - 1 - len(about))
        title: Line = ((f" Pulls in {self.day.folder}", "strong"), (self._state(), "quiet"))
        stack = listed(text, self.chosen, left - 1, rows)
        picture = (self._dots if self.dots else self._curves)(view, width - left - 1, rows)
        body = beside(stack, picture, left)
        body += [EMPTY] * (rows - len(body))
        return [fit(title, width), *body, *about][:height]

    def _nothing(self, width: int) -> list[Line]:
        if self.day.folder is None:
            words = "Nothing is kept here: a replay, or no folder."
        elif self.day.reading:
            words = f"Reading {self.day.folder} ..."
        else:
            words = f"No pulls in {self.day.folder} yet. {self.day.trouble}"
        return [EMPTY, fit(((f" {words}", "quiet"),), width)]

    def _state(self) -> str:
        counts = {kind: sum(p.kind == kind for p in self.day.pulls) for kind in MARKS}
        said = "  ".join(f"{MARKS[kind]} {n} {kind}" for kind, n in counts.items() if n)
        return f"   {said}{'   reading ...' if self.day.reading else ''}   {self.day.trouble}"

    def _letter(self, pull: DayPull) -> str:
        return LETTERS[self.over.index(pull.file) % 26] if pull.file in self.over else " "

    def _row(self, pull: DayPull, unit: str) -> Line:
        if pull.refused:
            return ((f"  ? {pull.label}: cannot be read", "warn"),)
        sign = MARKS.get(pull.kind, "?")
        force = wording.digits(pull.maximum_n, unit)
        whole = "≥" if pull.kind == "at least" else " "
        head = f"{self._letter(pull)} {sign} {pull.label[:12]:<12} {whole}{force:>6} {unit}  "
        return ((head, ""), (pull.mode or pull.reason or "no mode yet", "quiet"))

    def _about_lines(self, pull: DayPull, unit: str, width: int) -> list[Line]:
        if pull.refused:
            return [fit(((f" {pull.refused}", "warn"),), width)]
        most = f"{wording.with_unit(pull.maximum_n, unit)}"
        if math.isfinite(pull.u95_n):
            most += f" give or take {wording.digits(pull.u95_n, unit)} (95 %)"
        facts = [pull.kind, most, f"after {wording.clock(pull.time_to_max_s)}"]
        keys = [f"{k}={shown(v)}" for k, v in pull.specimen.items() if k != "label"]
        said = {"INVALID": pull.reason, "note": pull.note, "photo": pull.photo}
        words = [*(f"{key}: {text}" for key, text in said.items() if text), *pull.flags]
        rows = [f" {pull.label}: " + ", ".join(facts), "  ".join(["", *keys])]
        rows.append(" " + "; ".join(words))
        return [fit(((row, "" if at else "strong"),), width) for at, row in enumerate(rows)]

    def _curves(self, view: View, width: int, height: int) -> list[Line]:
        """Draw the chosen curve over those laid over one another."""
        first = self.day.pulls[self.chosen]
        others = [p for p in self.day.pulls if p.file in self.over and p.file != first.file]
        drawn = [(self._letter(p).strip() or "·", p.curve) for p in (first, *others)]
        there = [(letter, curve) for letter, curve in drawn if curve is not None]
        span_s = max((len(c.least_n) * c.width_s for _, c in there), default=0.0)
        top_n = 1.04 * max(view.reading.stop_n, *(p.maximum_n for p in (first, *others)), 1.0)
        scale = f"0 to {wording.with_unit(top_n, view.unit)}, 0:00 to {wording.clock(span_s)}"
        return [((scale, "quiet"),), *curves(there, top_n, width, height - 1)]

    def _dots(self, view: View, width: int, height: int) -> list[Line]:
        """Draw every pull as a sign on a line of force, a row for each group."""
        groups = grouped(self.day.pulls, self.by)
        top_n = max([1.0, *(p.maximum_n for p in self.day.pulls if p.maximum_n > 0)])
        names = min(16, max([len(name) for name in groups], default=1))
        room = width - names - 22
        head = f"by {self.by or 'nothing (g: choose)'}, 0 to {wording.with_unit(top_n, view.unit)}"
        lines: list[Line] = [((head, "quiet"),)]
        for name, pulls in groups.items():
            row = [" "] * max(room, 1)
            for pull in pulls:
                if math.isfinite(pull.maximum_n):
                    at = int(max(pull.maximum_n, 0.0) / top_n * (len(row) - 1))
                    row[at] = MARKS.get(pull.kind, "?")
            lines.append(
                ((f"{name[:names]:<{names}} ", "strong"), ("".join(row), "trace"),
                 (f" {middle_of(pulls, view.unit)}", ""))
            )  # fmt: skip
        return [fit(line, width) for line in lines[:height]]


def shown(value: str | float) -> str:
    """Return what was said of a specimen as people write it: 6, not 6.0."""
    return f"{value:g}" if isinstance(value, float) else value


def grouping_keys(pulls: Sequence[DayPull]) -> list[str]:
    """Return the keys by which the pulls differ: what is varied first, then what they share."""
    values: dict[str, set[str]] = {}
    for pull in pulls:
        for key, value in pull.specimen.items():
            values.setdefault(key, set()).add(str(value))
    telling = [key for key in values if key not in OWN and 1 < len(values[key]) < len(pulls)]
    return sorted(telling, key=lambda key: (key in BLOCKS, len(values[key]), key))


def grouped(pulls: Sequence[DayPull], by: str) -> dict[str, list[DayPull]]:
    """Return the readable pulls by their value of a key; all together without one."""
    groups: dict[str, list[DayPull]] = {}
    for pull in pulls:
        if not pull.refused:
            name = str(pull.specimen.get(by, "-")) if by else "all"
            groups.setdefault(name, []).append(pull)
    return dict(sorted(groups.items()))


def middle_of(pulls: Sequence[DayPull], unit: str) -> str:
    """Return number and mean of the failures; "or more" where some ended whole."""
    failed = [pull.maximum_n for pull in pulls if pull.kind == "failed"]
    whole = [pull.maximum_n for pull in pulls if pull.kind == "at least"]
    if not failed and not whole:
        return "none counts"
    mean = sum(failed + whole) / len(failed + whole)
    return f"n {len(failed) + len(whole)}  {'≥ ' if whole else ''}{wording.with_unit(mean, unit)}"
