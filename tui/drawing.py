"""Lines of text with roles: what the drawing functions of the console are made of. Pure."""

from collections.abc import Sequence

#: A piece of text and the role it plays (``theme`` knows its look). All characters are one column.
Piece = tuple[str, str]
Line = tuple[Piece, ...]

EMPTY: Line = ()


def width_of(line: Line) -> int:
    """Return how many columns a line takes."""
    return sum(len(text) for text, _ in line)


def fit(line: Line, width: int) -> Line:
    """Return the line cut to ``width`` columns, an ellipsis where something was cut."""
    if width_of(line) <= width:
        return line
    kept: list[Piece] = []
    left = width - 1
    for text, role in line:
        if len(text) >= left:
            kept.append((text[: max(left, 0)] + "…", role))
            break
        kept.append((text, role))
        left -= len(text)
    return tuple(kept)


def spread(left: Line, right: Line, width: int) -> Line:
    """Return a line with ``left`` at the left and ``right`` at the right; left is cut first."""
    right = fit(right, width)
    room = width - width_of(right) - 2
    if room < 8:
        return fit(left, width)
    left = fit(left, room)
    return (*left, (" " * (width - width_of(left) - width_of(right)), ""), *right)


def middle(line: Line, width: int) -> Line:
    """Return a line centred."""
    line = fit(line, width)
    return ((" " * ((width - width_of(line)) // 2), ""), *line)


def blocks(rows: Sequence[str], role: str) -> list[Line]:
    """Return block letters as lines of one role."""
    return [((row, role),) for row in rows]


def beside(left: Sequence[Line], right: Sequence[Line], at: int) -> list[Line]:
    """Return two stacks of lines side by side, the right one from column ``at`` on."""
    height = max(len(left), len(right))
    lines = []
    for row in range(height):
        first = fit(left[row], at) if row < len(left) else EMPTY
        second = right[row] if row < len(right) else EMPTY
        lines.append((*first, (" " * (at - width_of(first)), ""), *second))
    return lines


def wrapped(text: str, width: int) -> list[str]:
    """Return a text as lines of at most ``width`` columns, broken between words."""
    lines, line = [], ""
    for word in text.split(" "):
        if line and len(line) + 1 + len(word) > width:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [*lines, line] if line else lines


def question_lines(question: Line, width: int) -> list[Line]:
    """Return a question on as many lines as it needs."""
    text = "".join(piece for piece, _ in question)
    return [((f" {line}".ljust(width), "ask"),) for line in wrapped(text, width - 2)]
