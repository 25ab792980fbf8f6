"""What is wrong when a board sends, but hardly a line is good: one sentence, from what came."""

from collections import Counter
from collections.abc import Mapping, Sequence

from daq.rig.rig import Link
from daq.wire.decoded import EXCERPT_LENGTH

_ENOUGH = 5  # bad lines before anything is said
_MOSTLY = 0.5  # of all lines
_GARBAGE = 0.3  # of the characters of the lines that show
_ESCAPE = "\\x"


def diagnose(link: Link, good: int, bad_lines: Mapping[str, int], excerpts: Sequence[str]) -> str:
    """Return what is most likely wrong, in one sentence with what to do, or "".

    ``good`` is the number of samples, ``bad_lines`` kind -> count, ``excerpts`` the texts of recent
    bad lines as WireEvent has them.
    """
    bad = sum(count for kind, count in bad_lines.items() if kind != "first line")
    texts = [text for text in excerpts if text]
    if good == 0 and not bad and any(len(text) >= EXCERPT_LENGTH for text in texts):
        return _no_line_end(link, texts)
    if bad < _ENOUGH or bad < _MOSTLY * (bad + good):
        return ""
    if _garbled(texts, link):
        return _garbage(link)
    kind = max(bad_lines, key=lambda each: bad_lines[each] * (each != "first line"))
    if link.format == "packet":
        return _of_packets(link, kind)
    return _of_text(link, kind, texts)


def _no_line_end(link: Link, texts: Sequence[str]) -> str:
    """What is wrong where bytes come, but no line end ever."""
    if link.format == "packet":
        return (
            f"bytes arrive, but no packet ends: set link.baud (now {link.baud}) to what the board "
            'uses, or link.format = "text" if it sends lines'
        )
    if _garbled(texts, link):
        return _garbage(link)
    if any("\\r" in text for text in texts):
        return "lines end in CR alone: let the board end them in LF or CR LF"
    return "bytes arrive, but no line end: let the board end each line in LF or CR LF"


def _garbled(texts: Sequence[str], link: Link) -> bool:
    """Whether much of what came is no printable text (in packets that means nothing)."""
    if link.format == "packet" or not texts:
        return False
    escaped = sum(text.count(_ESCAPE) for text in texts)
    return escaped > _GARBAGE * sum(len(text) - 3 * text.count(_ESCAPE) for text in texts)


def _garbage(link: Link) -> str:
    return (
        f"only garbage arrives at {link.baud} baud: set link.baud to what the board uses "
        '(or link.format = "packet" if it sends packets)'
    )


def _of_packets(link: Link, kind: str) -> str:
    if kind in ("short", "long"):
        return (
            f"packets do not hold the {len(link.fields)} counts that link.fields names: "
            "make link.fields what the board sends"
        )
    return (
        f"packets arrive broken ({kind}): set link.baud (now {link.baud}) to what the board uses, "
        'or link.format = "text" if it sends lines'
    )


def _of_text(link: Link, kind: str, texts: Sequence[str]) -> str:
    separator = link.separator
    counts = Counter(_fields(text, separator) for text in texts if not text.startswith("#"))
    usual = counts.most_common(1)[0][0] if counts else 0
    named = len(link.fields)
    if kind in ("short", "long") and usual and usual != named:
        other = _other_separator(texts, separator, named)
        if other:
            return (
                f"lines are parted by {other}, link.separator is {separator!r}: "
                "set link.separator to what the board uses"
            )
        return (
            f"lines have {usual} field{'s' * (usual != 1)}, link.fields names {named}: "
            "name every field in order (skip for one that is not used)"
        )
    return _by_kind(link, kind, texts)


def _by_kind(link: Link, kind: str, texts: Sequence[str]) -> str:
    example = f", such as {texts[-1]!r}" if texts else ""
    if kind == "checksum":
        return f"the checksum of the lines is not {link.checksum}{example}: set link.checksum right"
    if kind == "out of range":
        return f"numbers are beyond 24 bits{example}: look at the order of link.fields"
    if kind == "not a number":
        return f"fields are not whole numbers{example}: send counts, without point or unit"
    if kind in ("repeated", "jump back"):
        return f"the board's clock does not go forward{example}: look at the order of link.fields"
    return f"lines are not as link.fields names them{example}: look at link.fields and link.baud"


def _fields(text: str, separator: str) -> int:
    plain = text.replace("\\t", "\t")
    return len(plain.split(None if separator == " " else separator))


def _other_separator(texts: Sequence[str], separator: str, named: int) -> str:
    """Return the separator that would give the right number of fields, in words, or ""."""
    words = {",": "a comma", ";": "a semicolon", "\t": "a tab", " ": "blanks"}
    for mark, word in words.items():
        right = sum(_fields(text, mark) == named for text in texts)
        if mark != separator and named > 1 and 2 * right > len(texts):
            return word
    return ""
