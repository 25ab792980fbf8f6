"""Text from people and boards made harmless: it cannot steer a terminal, a path or a file."""

import os
import re
import unicodedata
from collections.abc import Mapping
from datetime import datetime

from daq.record import layout

MAX_VALUE = 4_000
MAX_KEY = 64
MAX_LABEL = 40
#: A cell that begins so is a formula to a spreadsheet, also behind blanks or in full width.
_RUNS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_STEERS = ("\t", "\r", "\n", "\0")


def inert(text: str, limit: int = MAX_VALUE) -> str:
    """Return ``text`` with every unprintable character escaped, at most ``limit`` characters.

    Escapes are Python's (``\\x1b``, ``\\u202e``); so are half surrogates, as a non-UTF-8 command
    line gives them. A cut text says so at its end.
    """
    if len(text) <= limit and text.isprintable():
        return text
    shown = "".join(_escaped(ch) for ch in text[: limit + 1])
    if len(shown) <= limit:
        return shown
    tail = f" [cut from {len(text)} characters]"
    return shown[: max(0, limit - len(tail))] + tail[:limit]


def _escaped(ch: str) -> str:
    return ch if ch.isprintable() else ch.encode("unicode_escape").decode("ascii")


def runs_in_sheet(text: str) -> bool:
    """Whether a spreadsheet would take a cell of this text for a formula."""
    return text.startswith(_STEERS) or inert(text).lstrip(" '\"\u00a0").startswith(_RUNS)


def sheet_text(text: str) -> str:
    """Return inert text that no spreadsheet runs: what would be a formula gets an apostrophe."""
    plain = inert(text)
    return f"'{plain}" if runs_in_sheet(text) else plain


def encodable(text: str) -> str:
    """Return ``text`` (line ends kept) with half surrogates and NUL escaped: fit for UTF-8."""
    return text.replace("\0", "\\x00").encode("utf-8", "backslashreplace").decode("utf-8")


def inert_mapping(mapping: Mapping[str, object]) -> dict[str, str | float]:
    """Return free keys and values as inert text or finite numbers (others become their text)."""
    return {inert(str(key), MAX_KEY): _value(value) for key, value in mapping.items()}


def _value(value: object) -> str | float:
    if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < float("inf"):
        return value if abs(value) < 2**53 else float(value)
    return inert(str(value))


def file_label(label: str) -> str:
    """Return ``label`` for a file name: ASCII letters, digits, ``-`` and ``_``, at most 40."""
    plain = unicodedata.normalize("NFKD", label[: 4 * MAX_LABEL])
    plain = plain.encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9_]+", "-", plain)[:MAX_LABEL].strip("-_")


def file_stem(started_at: datetime, pull_number: int, label: str) -> str:
    """Return ``2026-11-25T101502-03-D-07``: date, time, pull number, label (if any is left)."""
    stem = f"{started_at:%Y-%m-%dT%H%M%S}-{pull_number:02d}"
    tail = file_label(label)
    return f"{stem}-{tail}" if tail else stem


def dataset_name(key: str) -> str:
    """Return ``key`` as a field name that general viewers accept; empty where nothing is left."""
    name = re.sub(r"[^A-Za-z0-9_]+", "_", key).strip("_")[:MAX_KEY]
    return "" if name in ("", layout.JSON) else name


def error_words(error: BaseException) -> str:
    """Return what an error says in one line: the system's words, or h5py's first."""
    number = getattr(error, "errno", None)
    return os.strerror(number) if number else inert(str(error).split("\n", 1)[0], 160)
