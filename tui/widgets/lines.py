"""Drawn lines of the live screen: top, cells, the sum, status, notices, questions, keys. Pure."""

from tui import wording
from tui.drawing import EMPTY, Line, Piece, fit, question_lines, spread, width_of
from tui.find import find_keys
from tui.key_table import (
    BACK,
    CAUTIONS,
    ENDED,
    KEYS,
    LOADED_NOT,
    MODE_ENTRY,
    MODE_OF_KEY,
    NOT_LOADED,
    PAGE_KEYS,
    RIG_KEYS,
    SCREEN_KEYS,
    TRIPPED,
    At,
    Key,
    available,
    known_at,
    shown_key,
)
from tui.view import Lower, View
from tui.widgets.page_parts import rolled
from tui.wording import Screen

BEATS = 6
KINDS = {At.PRACTICE: "PRACTICE, simulated", At.REPLAY: "REPLAY"}
SAID_WHEN = (TRIPPED, CAUTIONS, LOADED_NOT, NOT_LOADED, ENDED)
ALWAYS_BAD = "first line"  # the first line after opening is always cut


def draw_top(view: View, width: int, height: int) -> list[Line]:
    """Draw the pulse of the data, what is on the rig, and the recorder."""
    reading = view.reading
    live = view.fresh
    at = view.beat % BEATS if live else BEATS
    pulse = "".join("●" if place == at else "·" if live else "-" for place in range(BEATS))
    word = f"data live {reading.samples_per_s:.0f}/s" if live else "NO DATA"
    if view.at is At.REPLAY and not live:
        word = "stands still"
    if view.at is not At.RIG:
        word = f"{KINDS[view.at]} · {word}"
    left: Line = (
        (f" {pulse} ", "good" if live else "stop"),
        (word, "quiet" if live or view.at is At.REPLAY else "stop"),
        ("   ", ""),
        (wording.specimen(reading), "strong"),
    )
    state = wording.recording(reading)
    role = "stop" if state == "NOT RECORDING" else "strong"
    next_one = f"next {reading.next_label}   " if reading.next_label else ""
    return [spread(left, ((next_one, "quiet"), (f"{state} ", role)), width)]


def draw_cells(view: View, width: int, height: int) -> list[Line]:
    """Draw each cell's share and own room; one line for all where rows are few."""
    cells = view.reading.cells
    if height < len(cells):
        text = "   ".join(wording.cell(cell, view.unit) for cell in cells)
        return [fit(((" " + text, "quiet"),), width)]
    bar = max(10, min(40, width // 4))
    lines = []
    for cell in cells:
        part = min(max(cell.force_n / cell.capacity_n, 0.0), 1.0) if view.reading.live else 0.0
        drawn = "■" * round(part * bar)
        role = "stop" if part > 0.95 else "warn" if part > 0.8 or wording.uneven(cell) else "quiet"
        text = wording.cell(cell, view.unit)
        capacity = f" of {wording.with_unit(cell.capacity_n, view.unit)}"
        lines.append(
            fit(((" ", ""), (drawn.ljust(bar, "·"), role), ("  " + text + capacity, role)), width)
        )
    return lines


def draw_chain(view: View, width: int, height: int) -> list[Line]:
    """Draw the sum behind the number, and the zero."""
    sum_of_it = " " + wording.chain(view.reading, view.unit)
    room = max(width - len(sum_of_it) - 2, 1)
    said = [line for line in _behind_it(view) if width_of(line) <= room]
    right = said[0] if said else fit(_behind_it(view)[-1], room)
    return [spread(((sum_of_it, ""),), right, width)]


def _behind_it(view: View) -> list[Line]:
    """Return what stands behind the number, in words that get fewer; what warns goes last."""
    reading = view.reading
    if not reading.zeroed:
        return [(("NO ZERO YET: press z at slack ", "warn"),), (("NO ZERO YET: z ", "warn"),)]
    zero = (f"zero {reading.zero_note} ", "quiet")
    loaded = wording.PHASES[reading.phase] != "slack"
    if not reading.verified:
        return [
            (("no weights behind this number · ", "quiet"), zero),
            (("no weights behind it ", "quiet"),),
            (("not weighed ", "quiet"),),
        ]
    if reading.extrapolated and loaded:
        return [
            (("BEYOND WHAT WEIGHTS VERIFIED · ", "warn"), zero),
            (("BEYOND WHAT WEIGHTS VERIFIED ", "warn"),),
            (("BEYOND THE WEIGHTS ", "warn"),),
        ]
    return [(zero,), (("zero taken ", "quiet"),)]


def draw_status(view: View, width: int, height: int) -> list[Line]:
    """Draw the line's and the disk's health, and the file."""
    reading = view.reading
    clean = not reading.gaps and not any(
        count for kind, count in reading.bad_lines.items() if kind != ALWAYS_BAD
    )
    disk = wording.disk(reading.recording.disk_free_bytes)
    left = (
        (" " + wording.bad_lines(reading), "quiet" if clean else "warn"),
        ("" if view.at is At.REPLAY else " · " + disk, "quiet"),
    )
    file = reading.recording.message or reading.recording.file.replace("\\", "/").split("/")[-1]
    return [spread(left, ((f"{file} ", "quiet"),), width)]


def draw_notice(view: View, width: int, height: int) -> list[Line]:
    """Draw the newest word to the person, or the caution."""
    if view.message:
        return [fit(((f" {view.message}", "strong"),), width)]
    if view.playing:
        return [fit(((f" {view.playing}", "warn"),), width)]
    slack = wording.PHASES[view.reading.phase] == "slack"
    text = wording.CAUTION if slack else wording.NOTICE_ONLY
    return [fit(((f" ▲ {text}", "warn" if slack else "quiet"),), width)]


def draw_ask(view: View, width: int, height: int) -> list[Line]:
    """Draw the question under way, or the choice of a failure mode."""
    if view.question:
        return question_lines(view.question, width)[:height]
    if not view.mode_due:
        return []
    head: Line = ((f" How did pull {view.reading.pull_number} end?  ", "strong"),)
    lines = _wrapped(head, [(k, mode) for k, mode in MODE_OF_KEY.items()], width)
    return lines[:height]


def draw_keys(view: View, width: int, height: int) -> list[Line]:
    """Draw the keys that have a use now."""
    if view.lower_shown is Lower.FIND and view.page is None:
        return []  # every letter goes into what is looked for
    if view.page is not None:
        now = (BACK, *PAGE_KEYS.get(view.page.name, ()))
    else:
        now = tuple(
            key
            for key in KEYS
            if key.foot and available(key, view.reading, view.cautions_due, view.at)
        )
    return _wrapped((), [(shown_key(key.key), key.label) for key in now], width)[:height]


def _wrapped(head: Line, pairs: list[tuple[str, str]], width: int) -> list[Line]:
    lines: list[Line] = []
    line: list[Piece] = list(head or ((" ", ""),))
    for key, label in pairs:
        piece: Line = ((f" {key} ", "key"), (f" {label}  ", ""))
        if width_of(tuple(line)) + width_of(piece) - 2 > width:
            lines.append(tuple(line))
            line = [(" ", "")]
        line += piece
    return [*lines, tuple(line)]


def draw_help(view: View, width: int, height: int) -> list[Line]:
    """Draw the keys with their help: those of the rig, or those of screens and looks."""
    more = view.lower is Lower.MORE_HELP
    keys = SCREEN_KEYS if more else (*RIG_KEYS, MODE_ENTRY)
    words = "   (h: back)" if more else "   (h: the second page)"
    title = " Screens, and how things are shown" if more else " Keys at the rig"
    lines: list[Line] = [((title, "strong"), (words, "quiet"))]
    lines += [_help_line(key) for key in known_at(keys, view.at)]
    return [fit(line, width) for line in lines[:height]]


def draw_find(view: View, width: int, height: int) -> list[Line]:
    """Draw the commands that fit what was typed, the chosen one marked."""
    head: Line = ((" Find: ", "strong"), (f"{view.find.text}▁", "ask"),
                  ("   type, ↑ ↓ choose, Enter does it, Esc leaves", "quiet"))  # fmt: skip
    found = find_keys(view.find.text, view.at)
    lines: list[Line] = [head]
    for at in rolled(len(found), view.find.chosen, height - 1):
        key = found[at]
        can = available(key, view.reading, view.cautions_due, view.at)
        sign = "▸" if at == view.find.chosen else " "
        role = "strong" if can else "quiet"
        when = "" if can else f" ({key.when})"
        lines.append(
            ((f" {sign} {key.label:<16}", role), (key.help + when, "" if can else "quiet"))
        )
    return [fit(line, width) for line in lines[:height]]


def draw_strip(view: View, width: int, height: int) -> list[Line]:
    """Draw the state in one line above another screen."""
    reading = view.reading
    if view.screen is Screen.UNKNOWN:
        words = f" FORCE UNKNOWN · DO NOT CRANK · {reading.unknown_because}"
        return [fit(((words.ljust(width), "banner"),), width)]
    maximum = f"maximum {wording.with_unit(reading.maximum_n, view.unit)}".replace("?", "-")
    force = f" {wording.with_unit(reading.force_n, view.unit)} · {wording.phase(reading)}"
    return [spread(((force, "strong"),), ((f"{maximum} ", "quiet"),), width)]


def draw_page(view: View, width: int, height: int) -> list[Line]:
    """Draw the other screen."""
    return [] if view.page is None else view.page.draw(view, width, height)


def _help_line(key: Key) -> Line:
    keys = " ".join(shown_key(each) for each in (key.key, *key.also))
    when = f" ({key.when})" if key.when in SAID_WHEN else ""
    return ((" ", ""), (f" {keys} ".ljust(20), "key"), (f" {key.label:<13}", "strong"),
            (key.help + when, ""))  # fmt: skip


def draw_cautions(view: View, width: int, height: int) -> list[Line]:
    """Draw the cautions of a session, to be confirmed once."""
    lines: list[Line] = [((" Before the first pull", "strong"), ("   c when all is done", "quiet"))]
    lines += [((" □ ", "warn"), (text, "")) for text in wording.SESSION_CAUTIONS]
    spare = height - len(lines)
    return [fit(line, width) for line in ([EMPTY] if spare > 2 else []) + lines][:height]
