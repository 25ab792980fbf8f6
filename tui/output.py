"""What a command prints: JSON for programs on stdout, words for people, complaints on stderr."""

import json
import math
import re
import shutil
import sys
from collections.abc import Mapping, Sequence
from enum import Enum
from pathlib import Path
from typing import Any, TextIO

UNIT = re.compile(r"(?<=\d) (?=(?:k?N|%|s|kg|kgf|lbf|mm|degC)(?![\w/]))")
MOST_LINES = 40
LONGEST_LINE = 1_000


def plain(value: Any) -> Any:
    """Return ``value`` as JSON can hold it: NaN and infinity become null, arrays become lists."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, str | int | bool | None):
        return value.value if isinstance(value, Enum) else value
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, Sequence | set | frozenset):
        return [plain(item) for item in value]
    raise TypeError(f"no JSON form for {type(value).__name__}")


def print_json(document: Any) -> None:
    """Print one JSON document on stdout, and nothing else."""
    json.dump(plain(document), sys.stdout, indent=2, ensure_ascii=False)
    sys.stdout.write("\n")
    sys.stdout.flush()


def say(message: str) -> None:
    """Tell a person something that is not the result: stderr, so that pipes stay clean.

    What others wrote (names, files, boards) cannot steer the terminal, nor flood it. On a terminal
    lines are broken between words; a pipe gets them whole.
    """
    from daq.record.inert_text import inert

    first, rest = (lines := message.split("\n"))[:MOST_LINES], len(lines) - MOST_LINES
    told = [inert(line, LONGEST_LINE) for line in first]
    told += [f"... and {rest} more"] if rest > 0 else []
    _print(told, sys.stderr)


def show(message: str) -> None:
    """Print the result of a command for a person, on stdout; lines as ``say`` breaks them."""
    _print(message.split("\n"), sys.stdout)


def _print(lines: list[str], stream: TextIO) -> None:
    if stream.isatty():
        width = shutil.get_terminal_size().columns
        lines = [row for line in lines for row in rows_of(line, width)]
    print("\n".join(lines), file=stream, flush=True)


def rows_of(line: str, width: int) -> list[str]:
    """Return a line as rows of at most ``width`` columns, broken between words only.

    What follows the first row stands two columns further in; a path longer than a row stays whole.
    """
    import textwrap

    indent = line[: len(line) - len(line.lstrip(" "))]
    rows = textwrap.wrap(
        UNIT.sub("\u00a0", line),  # a number and its unit stay together
        max(width, 20),
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [row.replace("\u00a0", " ") for row in rows] or [""]
