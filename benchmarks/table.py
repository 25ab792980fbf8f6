"""What a benchmark gives back: a line of ours against another way, in the same run."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison. ``ours`` and ``other`` say their unit; ``goal`` is about ``ratio``."""

    name: str
    ours: str
    other: str = ""
    ratio: float | None = None
    goal: str = ""
    note: str = ""


def as_text(rows: Sequence[Row]) -> str:
    """Return rows as a table of columns."""
    lines = [("what", "ours", "other", "ratio", "goal", "note")]
    for row in rows:
        ratio = "" if row.ratio is None else f"{row.ratio:.2f}"
        lines.append((row.name, row.ours, row.other, ratio, row.goal, row.note))
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in lines
    )


def print_rows(rows: Sequence[Row]) -> None:
    """Print rows as a table."""
    print(as_text(rows))
