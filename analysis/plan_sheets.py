"""The plan on paper: the list to work through, and labels to cut out. Plain text."""

import math
import textwrap

from analysis.campaign_plan import Plan, PlannedPull, Values
from analysis.drill_advice import nearest_drills
from analysis.thread import bite

_WIDTH = 80
_CARD = 30
_CARDS = 3


def printable_list(plan: Plan) -> str:
    """Return the list in its order, with a box to tick and room for notes."""
    lines = [*_head(plan), ""]
    label = max((len(pull.label) for pull in plan.pulls), default=0)
    levels = max((len(_levels(pull)) for pull in plan.pulls), default=0)
    board = ""
    for pull in plan.pulls:
        if pull.board != board:
            board = pull.board
            lines += ["", f"Board {board}", "-" * (6 + len(board))]
        expected = "" if math.isnan(pull.expected_n) else f"{pull.expected_n / 1000:.2f} kN  "
        lines.append(
            f"[ ] {pull.run:>3}  {pull.label:<{label}}  {_levels(pull):<{levels}}  {expected}"
            "depth ____  mode ____  note"
        )
    return "\n".join(line.rstrip() for line in lines) + "\n"


def label_sheet(plan: Plan) -> str:
    """Return cards with label, run and levels, three abreast, in the order of the list."""
    edge = "+" + "-" * _CARD + "+"
    lines: list[str] = []
    for start in range(0, len(plan.pulls), _CARDS):
        cards = [_card(pull) for pull in plan.pulls[start : start + _CARDS]]
        height = max(len(card) for card in cards)
        lines.append("  ".join(edge for _ in cards))
        for row in range(height):
            cells = (card[row] if row < len(card) else "" for card in cards)
            lines.append("  ".join(f"| {cell:<{_CARD - 2}} |" for cell in cells))
        lines += ["  ".join(edge for _ in cards), ""]
    return "\n".join(lines)


def drill_lines(plan: Plan) -> list[str]:
    """Return one line for each pilot of the plan: nearest drills, how far off, and the bite."""
    pilots = {pull.specimen.get("pilot_mm") for pull in plan.pulls}
    lines = []
    for pilot in sorted(size for size in pilots if isinstance(size, float)):
        drills = "  ".join(f"{d.name} ({d.difference_mm:+.2f})" for d in nearest_drills(pilot))
        lines.append(f"  pilot {pilot:.2f} mm:  {drills}{_bite(plan.design.fixed, pilot)}")
    return lines


def _bite(fixed: Values, pilot_mm: float) -> str:
    """Return the bite in words where one thread is fixed for all pulls."""
    major, minor = fixed.get("major_mm"), fixed.get("minor_mm")
    if not isinstance(major, float) or not isinstance(minor, float) or not minor < major:
        return ""
    found = bite(major, minor, pilot_mm)
    return f"  bite {found.bite_mm:.2f} mm ({found.engagement_pct:.0f} %)"


def _head(plan: Plan) -> list[str]:
    design = plan.design
    boards = ", ".join(board.name for board in design.boards)
    lines = _wrapped("Question", plan.question)
    lines += _wrapped("Decided before looking", plan.decided)
    what = (
        f"{len(plan.pulls)} pulls, boards {boards}, {design.replicates} of each combination in "
        f"each board, seed {design.seed}"
    )
    lines += textwrap.wrap(what, _WIDTH, subsequent_indent="  ")
    for key, value in design.fixed.items():
        lines.append(f"  fixed {key}: {value if isinstance(value, str) else format(value, 'g')}")
    drills = drill_lines(plan)
    if drills:
        lines += ["Drills nearest to each pilot (mm larger or smaller); measure the hole:", *drills]
    if not math.isnan(plan.stop_n):
        lines.append(f"Stop at the specimen: {plan.stop_n / 1000:.2f} kN (a notice, no protection)")
    lines.append("Drive and pull in this order. Label the wood before drilling.")
    lines.append("A hole is used once.")
    return lines


def _wrapped(what: str, text: str) -> list[str]:
    return textwrap.wrap(f"{what}: {text}", _WIDTH, subsequent_indent="  ") if text else []


def _levels(pull: PlannedPull) -> str:
    return "  ".join(f"{name}: {text}" for name, text in pull.levels.items())


def _card(pull: PlannedPull) -> list[str]:
    lines = [f"{pull.label:<{_CARD - 12}}run {pull.run:>4}"]
    for name, text in pull.levels.items():
        lines += textwrap.wrap(f"{name}: {text}", _CARD - 2)
    return lines
