"""Drawn parts of the live screen: the force, the room left, the pace, the alarms. Pure."""

from tui import wording
from tui.block_letters import block_text, drawable, tallest, width_of
from tui.drawing import EMPTY, Line, beside, blocks, fit, middle, spread, wrapped
from tui.view import View
from tui.wording import Screen

NUMBER_ROLES = {"near": "warn", "close": "stop", "gone": "stop"}


def draw_force(view: View, width: int, height: int) -> list[Line]:
    """Draw the specimen force as large as it fits, its unit beside it, never jumping sideways."""
    reading, unit = view.reading, view.unit
    frame = wording.widest_digits(reading.stop_n, unit)
    for rows in range(height, 2, -1):
        small = max(3, rows // 2)
        apart = max(2, rows // 4)
        needed = width_of(frame, rows) + apart + width_of(unit, small) + 2
        if needed <= width:
            break
    else:
        return [fit(((f" {wording.with_unit(reading.force_n, unit)}", "number"),), width)]
    role = NUMBER_ROLES.get(wording.room_state(reading), "number")
    number = block_text(wording.digits(reading.force_n, unit), rows)
    left = max(0, (width - needed) // 2)
    start = left + width_of(frame, rows) - len(number[0])
    sign = block_text(unit, small)
    above = [EMPTY] * (rows - small)
    lines = beside(
        [((" " * max(0, start), ""), (row, role)) for row in number],
        [*above, *blocks(sign, "quiet")],
        left + width_of(frame, rows) + apart,
    )
    return [EMPTY] * ((height - rows) // 2) + lines


def draw_room(view: View, width: int, height: int) -> list[Line]:
    """Draw the room left to the stop as a length that shrinks towards a post at the right."""
    reading, unit = view.reading, view.unit
    state = wording.room_state(reading)
    role = {"free": "room", "near": "warn_bar", "close": "stop_bar"}.get(state, "stop_bar")
    inner = width - 4
    part = min(max(reading.force_n / reading.stop_n, 0.0), 1.0) if reading.live else 1.0
    used = round(part * inner)
    warn = min(max(round(reading.warn_n / reading.stop_n * inner), 0), inner - 1)
    left = {"free": "█", "near": "▓", "close": "▒"}.get(state, "░")
    bar = ("·" * used) + left * (inner - used)
    body: Line = (
        (" ", ""),
        (bar[: min(used, warn)], "used"),
        (bar[min(used, warn) : warn], role),
        ("┃", "warn"),
        *((bar[warn + 1 : used], "used"), (bar[max(warn + 1, used) :], role)),
        ("▐▌", "stop"),
    )
    words = wording.room(reading, unit)
    tags = {"near": "  NEAR THE STOP", "close": "  CLOSE TO THE STOP", "gone": ""}
    role_of_words = {"free": "good", "near": "warn"}.get(state, "stop")
    label = ((" " + words + tags.get(state, ""), role_of_words),)
    warn_text = f"warn {wording.digits(reading.warn_n, unit)} ┃"
    stop_text = f"stop {wording.with_unit(reading.stop_n, unit)} ▐▌"
    right = ((warn_text, "quiet"), ("   ", ""), (stop_text, "quiet"))
    return [spread(label, right, width - 1), *[body] * (height - 1)]


COLUMNS = (0.0, 0.42, 0.68)  # where the three things to see from afar begin


def draw_pace(view: View, width: int, height: int) -> list[Line]:
    """Draw the word for the crank, the maximum so far and the time, in letters where they fit."""
    if height < 4:
        return [_pace_in_text(view, width)]
    starts = [round(part * (width - 1)) for part in COLUMNS]
    ends = [*starts[1:], width - 1]
    stacks = [
        _captioned(caption, text, role, end - start - 2, height)
        for (caption, text, role), start, end in zip(_pace_columns(view), starts, ends, strict=True)
    ]
    lines = beside(stacks[0], beside(stacks[1], stacks[2], starts[2] - starts[1]), starts[1])
    return [((" ", ""), *line) for line in lines]


def _captioned(caption: str, text: str, role: str, width: int, height: int) -> list[Line]:
    """Return a caption and below it a word as tall as it fits; plain text where none fits."""
    rows = tallest(text, width, height - 1)
    drawn = block_text(text, rows) if rows else (text,)
    return [fit(((caption, "quiet"),), width), *blocks(drawn, role)]


WORD_ROLES = {
    "GOOD": "good",
    "SLOWER": "warn",
    "FASTER": "warn",
    "NEAR": "warn",
    "NEAR!!": "stop",
}


def _pace_columns(view: View) -> list[tuple[str, str, str]]:
    """Return caption, word and role of the three things to see from afar."""
    reading, pace = view.reading, view.pace
    climb, word = wording.first(reading, pace, view.unit)
    role = WORD_ROLES.get(word, "strong")
    maximum = wording.digits(reading.maximum_n, view.unit)
    caption, third = wording.third(reading)
    return [
        (climb, word, role),
        (f"maximum so far, {view.unit}", maximum.replace("?", "-"), "strong"),
        (caption, drawable(third.upper()), "strong"),
    ]


def _pace_in_text(view: View, width: int) -> Line:
    (climb, word, role), (_, _, _), (_, third, _) = _pace_columns(view)
    shape = {"SLOWER": "▼", "GOOD": "●", "FASTER": "▲"}.get(word, "○")
    maximum = f"maximum {wording.with_unit(view.reading.maximum_n, view.unit)}"
    left = ((f" {shape} {word}", role), (f" · {climb}", "quiet"))
    return spread(left, ((f"{maximum}   {third} ", "strong"),), width)


def draw_alarm(view: View, width: int, height: int) -> list[Line]:
    """Draw the words that outrank the number, as large as they fit, hatched above and below."""
    alarm = wording.alarm(view.reading, view.unit)
    if view.screen is Screen.LOADED:
        return _loaded_banner(alarm, width, height)
    big, order = alarm.words, alarm.lines[0]
    rest = [line for text in alarm.lines[1:] for line in wrapped(text, width - 4)]
    hatch = _hatch(view, width)
    air = [EMPTY] if height >= 16 else []
    free = height - 2 - len(rest) - len(air) * (2 + len(big))
    order_rows = tallest(order, width - 4, min(6, free // 4))
    free -= max(order_rows, 1)
    rows = min(tallest(word, width - 4, max(3, free // len(big))) for word in big)
    lines: list[Line] = [hatch, *air]
    for word, tall in (*((word, rows) for word in big), (order, order_rows)):
        drawn = block_text(word, tall) if tall else (word,)
        lines += [*(middle(((row, "strong"),), width) for row in drawn), *air]
    lines += [middle(((text, "strong"),), width) for text in rest]
    lines += [EMPTY] * (height - 1 - len(lines))
    return [*lines[: height - 1], hatch]


def _hatch(view: View, width: int) -> Line:
    """Return a border that tells the two alarms apart without colour, and moves."""
    mark = "▞▞  " if view.screen is Screen.STOP else "?   "
    shift = (view.frame // 4) % len(mark)
    return (((mark * (width // len(mark) + 2))[shift : shift + width], "strong"),)


def _loaded_banner(alarm: wording.Alarm, width: int, height: int) -> list[Line]:
    text = "  ".join(alarm.lines)
    lines = [_filled(f"  ▲ {text}", width)]
    rows = tallest(alarm.words[0], width - 4, height - 2)
    if rows >= 3:
        lines += [_filled("  " + row, width) for row in block_text(alarm.words[0], rows)]
    else:
        lines.append(_filled(f"    {alarm.words[0]}", width))
    return lines


def _filled(text: str, width: int) -> Line:
    return ((text[:width].ljust(width), "banner"),)


def draw_small(view: View, width: int, height: int) -> list[Line]:
    """Draw what still stands in a window too small for the rest."""
    reading = view.reading
    alarm = wording.alarm(reading, view.unit)
    if view.screen is Screen.NUMBER:
        words = (
            f"{wording.with_unit(reading.force_n, view.unit)} · {wording.room(reading, view.unit)}"
        )
    else:
        words = " ".join(alarm.words)
        if view.screen is not Screen.UNKNOWN:
            words += f" · {wording.with_unit(reading.force_n, view.unit)}"
    lines: list[Line] = [fit(((words, "strong"),), width)]
    lines.append(fit(((wording.phase(reading), ""),), width))
    lines.append(fit((("window too small: 80 by 24 or more", "quiet"),), width))
    return lines[:height]
