"""The weights page, drawn: what to put on, how steady it is, the points so far. Pure."""

from dataclasses import dataclass

from daq.force.guided_weights import Guided, Look
from daq.force.weights_so_far import PointSoFar, so_far
from tui.drawing import EMPTY, Line, fit, wrapped

BAR = 24
OFFERED = (
    "Enter: a calibration. Says which weight is next, up, down and again, takes each one when it "
    "is steady, keeps every point; can be left and taken up again the same day.",
    "r: the ratio check. One bucket of any mass, in line with the jack and then at the specimen "
    "pin, against the tape measure.",
    "c: the check weight. Does a known weight still read what it did?",
    "While this page stands no pull begins; the guard watches as always.",
)
VOID_REASONS = {
    "1": "leaned on or touched",
    "2": "wrong weight on",
    "3": "put on askew",
    "4": "still moving",
}


@dataclass(frozen=True, slots=True)
class WeightsView:
    """One frame of the page. ``state`` None: nothing is begun yet."""

    title: str
    state: Guided | None
    look: Look
    outcome: tuple[str, ...] = ()  # sentences: the statement, or what is wrong


def draw_weights(view: WeightsView, width: int, height: int) -> list[Line]:
    """Draw the page."""
    lines: list[Line] = [((f"  {view.title}", "strong"),), EMPTY]
    if view.state is not None:
        lines += [*_ask(view.state, width), *_bar(view.state, view.look, width)]
    lines += _outcome(view.outcome, width, max(1, height - len(lines)))
    room = height - len(lines) - 2
    if view.state is None:
        lines += [EMPTY] if view.outcome else []
        lines += [((f"  {line}", ""),) for text in OFFERED for line in wrapped(text, width - 4)]
    elif room > 0:
        rows = [_row(point) for point in so_far(view.state)]
        lines += [EMPTY, ((COLUMNS, "quiet"),), *rows[-room:]]
    return [fit(line, width) for line in lines][:height]


def _outcome(texts: tuple[str, ...], width: int, height: int) -> list[Line]:
    """Return sentences as paragraphs; where they do not fit the last line says so."""
    rows = [row for text in texts for row in ("", *wrapped(text, max(20, width - 4)))]
    if len(rows) > height:
        rows = [row for row in rows if row]
    if len(rows) > height:
        rows = [*rows[: height - 1], MORE]
    return [((f"  {row}", ""),) for row in rows]


def _ask(state: Guided, width: int) -> list[Line]:
    if state.question:
        rows = wrapped(f"{state.question}   y yes   n no", width - 4)
        return [((f"  {row} ", "banner"),) for row in rows]
    if state.step is None:
        return [(("  All weights are taken.", "strong"),)]
    at = state.plan.steps.index(state.step) + 1
    step = state.step
    words = f"  {at} of {len(state.plan.steps)}{step.round_words}:  {step.words}"
    return [((words, "strong"),)]


def _bar(state: Guided, found: Look, width: int) -> list[Line]:
    if state.step is None or state.question:
        return [EMPTY]
    filled = round(found.settled * BAR)
    done = filled == BAR and not found.may_force
    bar = "=" * filled + "·" * (BAR - filled)
    first, *more = wrapped(found.words, width - BAR - 5) or [""]
    shown: Line = (("  [", ""), (bar, "good" if done else "quiet"), (f"] {first}", ""))
    return [shown, *(((" " * (BAR + 5) + row, ""),) for row in more)]


MORE = "... and more: make the window taller"
COLUMNS = "    no  round  way     weight          counts   off line   down - up"


def _row(point: PointSoFar) -> Line:
    step = point.plateau.step
    text = f"  {point.number:4}  {step.series:>5}  {step.direction:<5} {step.typed:>9}"
    text += (
        f" {point.reading:15.0f}   {_percent(point.off_percent)}   {_percent(point.gap_percent)}"
    )
    if point.plateau.void:
        return ((text, "quiet"), (f"   void: {point.plateau.void}", "warn"))
    return ((text, ""),)


def _percent(value: float | None) -> str:
    return " " * 8 if value is None else f"{value:+6.2f} %"
