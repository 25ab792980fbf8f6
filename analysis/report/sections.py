"""A section of the report: one series of pulls, its answers, curves and table. None is left out."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from analysis.campaign_plan import Plan
from analysis.groups import level_at
from analysis.pull_result import Kind, PullResult
from analysis.questions import BOARD, belongs, questions
from analysis.report.answers import Answer, Wish, answer_to
from analysis.report.evidence import Shown
from analysis.report.predicted import Expected, expected
from analysis.report.small_curves import Axes, Drawing, axes_for, drawing
from analysis.report.wording import ForceUnit, key_name, key_unit, level_name, plain

NO_SERIES = "Pulls without a series"
#: Not by the system's language: the same recordings give the same page everywhere.
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
#: Specimen entries that stand in columns of their own, or are the same words again.
NOT_FIXED = frozenset({"label", "series", "run", "hole", "order", "note", "notes"})


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A small drawing with its caption."""

    shown: Shown
    drawing: Drawing
    levels: str
    maximum: str


@dataclass(frozen=True, slots=True)
class Row:
    """A pull in the table."""

    cells: tuple[str, ...]
    flags: str
    counted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One series of pulls. Series are never mixed."""

    name: str
    ident: str
    counts: str
    fixed: tuple[tuple[str, str], ...]
    plan: Plan | None
    planned: str
    departures: tuple[Mapping[str, str], ...]
    answers: tuple[Answer, ...]
    why_none: str  # why nothing is compared
    axes: Axes
    curves: tuple[Curve, ...]
    columns: tuple[str, ...]
    text_columns: tuple[int, ...]  # set to the left
    rows: tuple[Row, ...]
    common_flags: tuple[str, ...]
    invalid: tuple[Shown, ...]
    partial: tuple[Shown, ...]
    at_least: tuple[Shown, ...]
    expected: tuple[Expected, ...]

    @property
    def shaded(self) -> bool:
        """Whether any curve goes beyond what weights verified."""
        return any(curve.drawing.verified_y is not None for curve in self.curves)

    @property
    def dotted(self) -> bool:
        """Whether the stop lies within the drawings."""
        return any(curve.drawing.stop_y is not None for curve in self.curves)

    @property
    def gapped(self) -> bool:
        """Whether any curve has a gap."""
        return any(curve.drawing.gaps for curve in self.curves)


def section_of(
    number: int,
    name: str,
    pulls: Sequence[Shown],
    plan: Plan | None,
    departures: Sequence[Mapping[str, str]],
    wish: Wish,
) -> Section:
    """Return the section of one series; ``plan`` speaks only where it is these pulls' plan."""
    results = [shown.result for shown in pulls]
    own_plan = plan if plan is not None and belongs(plan, results) else None
    asked = questions(results, own_plan, wish.by, wish.block)
    answers = tuple(
        answer_to(f"s{number}q{place}", question, results, wish)
        for place, question in enumerate(asked, start=1)
    )
    axes = axes_for(pulls, wish.unit)
    keys = [answer.question.by for answer in answers]
    blocks = [answer.question.block for answer in answers if answer.question.block]
    usual = _usual_spread(results)
    columns = _columns(results, (*keys, *blocks, BOARD))
    table = _Table(columns, wish.unit, usual, _shared_flags(results))
    return Section(
        name=name or NO_SERIES,
        ident=f"s{number}",
        counts=_counts(results),
        fixed=_fixed(results),
        plan=own_plan,
        planned=_planned(own_plan),
        departures=tuple(departures) if own_plan else (),
        answers=answers,
        why_none="" if answers else _why_none(results, wish.by),
        axes=axes,
        curves=tuple(_curve(shown, axes, keys, wish.unit, usual) for shown in pulls),
        columns=table.head,
        text_columns=table.text_columns(results),
        rows=tuple(map(table.row, pulls)),
        common_flags=tuple(f"Every one of these pulls: {flag}." for flag in table.shared),
        invalid=tuple(shown for shown in pulls if not shown.result.valid),
        partial=tuple(shown for shown in pulls if shown.result.kind is Kind.PARTIAL),
        at_least=tuple(shown for shown in pulls if shown.result.censored),
        expected=expected(results, wish.unit),
    )


def _counts(results: Sequence[PullResult]) -> str:
    """Return how many pulls of each kind: all are counted, none are dropped."""
    kinds = Counter(result.kind for result in results)
    words = {
        Kind.FAILED: "failed",
        Kind.AT_LEAST: "ended whole (at least)",
        Kind.PARTIAL: "partial",
        Kind.INVALID: "invalid",
    }
    parts = [f"{kinds[kind]} {word}" for kind, word in words.items() if kinds[kind]]
    total = f"{len(results)} pull{'s' if len(results) > 1 else ''}"
    return f"{total}: {', '.join(parts)}."


def _fixed(results: Sequence[PullResult]) -> tuple[tuple[str, str], ...]:
    """Return what all specimens have in common, as (name, value with unit)."""
    first = results[0].specimen
    return tuple(
        (key_name(key), level_name(key, level))
        for key in first
        if key not in NOT_FIXED
        and (level := level_at(results[0], key)) is not None
        and all(level_at(result, key) == level for result in results)
    )


def _why_none(results: Sequence[PullResult], by: Sequence[str]) -> str:
    if by:
        return f"No pull of this series carries {' or '.join(by)}; nothing is compared here."
    if not any(result.valid and math.isfinite(result.max_force_n) for result in results):
        return "No valid pull with a force: nothing can be compared."
    return "Nothing was varied in these pulls that could be compared with at least two pulls each."


def _columns(results: Sequence[PullResult], keys: Sequence[str]) -> tuple[str, ...]:
    """Return the keys that any pull carries, each once."""
    return tuple(
        key
        for key in dict.fromkeys(keys)
        if any(level_at(result, key) is not None for result in results)
    )


def _usual_spread(results: Sequence[PullResult]) -> float:
    """Return the middle U95 of a series (N): it sets the digits of the whole column."""
    spreads = sorted(r.U95_max_force_n for r in results if math.isfinite(r.U95_max_force_n))
    return spreads[len(spreads) // 2] if spreads else math.nan


def _curve(shown: Shown, axes: Axes, keys: Sequence[str], unit: ForceUnit, usual_n: float) -> Curve:
    levels = ((key, level_at(shown.result, key)) for key in keys)
    sign = "≥\u202f" if shown.result.censored else ""
    return Curve(
        shown,
        drawing(shown, axes.scale, unit),
        ", ".join(level_name(key, level) for key, level in levels if level is not None),
        f"{sign}{unit.words(shown.result.max_force_n, usual_n)}",
    )


def _shared_flags(results: Sequence[PullResult]) -> tuple[str, ...]:
    """Return the flags that every one of several pulls carries: said once, below the table."""
    if len(results) < 2:
        return ()
    return tuple(
        flag for flag in results[0].flags if all(flag in result.flags for result in results)
    )


@dataclass(frozen=True, slots=True)
class _Table:
    """The table of every pull: which specimen entries, which unit, which digits."""

    keys: Sequence[str]
    unit: ForceUnit
    usual_n: float
    shared: tuple[str, ...]

    @property
    def head(self) -> tuple[str, ...]:
        """The headers, with units."""
        head = ["pull", *map(_header, self.keys), f"maximum ± U95, {self.unit.si}"]
        if self.unit.beside:
            head.append(f"maximum, {self.unit.own}")
        yields = f"yield, {self.unit.si}"
        return (*head, "at, s", yields, "per thread, N/mm", "cracks", "how it ended")

    def text_columns(self, results: Sequence[PullResult]) -> tuple[int, ...]:
        """Return the places of the columns that hold words."""
        words = (
            place
            for place, key in enumerate(self.keys, start=1)
            if any(isinstance(level_at(result, key), str) for result in results)
        )
        return (*words, len(self.head) - 1)

    def row(self, shown: Shown) -> Row:
        """Return the cells of one pull."""
        result, levels = shown.result, [level_at(shown.result, key) for key in self.keys]
        cells = [shown.label, *("" if at is None else level_name("", at) for at in levels)]
        cells.append(self._maximum(result))
        if self.unit.beside:
            cells.append(self.unit.own_number(result.max_force_n, self.usual_n))
        cells += [
            plain(result.time_to_max_s, 0),
            self.unit.number(result.yield_force_n),
            plain(result.f_per_mm_n, 0),
            str(result.cracks),
            _ended(result),
        ]
        flags = "; ".join(flag for flag in result.flags if flag not in self.shared)
        return Row(tuple(cells), flags, result.valid)

    def _maximum(self, result: PullResult) -> str:
        sign = "≥\u202f" if result.censored else ""
        size = f"{sign}{self.unit.number(result.max_force_n, self.usual_n)}"
        if not math.isfinite(result.U95_max_force_n):
            return size
        return f"{size}\u202f±\u202f{self.unit.number(result.U95_max_force_n, self.usual_n)}"


def _ended(result: PullResult) -> str:
    """Return how a pull ended: its mode, by whom, and its kind where it did not simply fail."""
    mode = result.mode or "mode not judged"
    if result.mode_by == "proposed":
        mode += " (proposed)"
    return mode if result.kind is Kind.FAILED else f"{result.kind.value}: {mode}"


def _header(key: str) -> str:
    return f"{key_name(key)}, {key_unit(key)}" if key_unit(key) else key_name(key)


def day_words(day: date) -> str:
    """Return a date as "12 March 2026"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def _planned(plan: Plan | None) -> str:
    """Return when a plan was made, in words that follow "Planned"."""
    if plan is None or not plan.made:
        return ""
    try:
        return f" on {day_words(datetime.fromisoformat(plan.made).date())}"
    except ValueError:
        return f" {plan.made}"
