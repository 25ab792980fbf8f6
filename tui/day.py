"""The pulls of a folder as the console shows them: read by a helper process, looked at here."""

import math
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from tui.child import Child
from tui.trace_columns import Columns

READER = "tui.day_reader"


@dataclass(frozen=True, slots=True, eq=False)
class DayPull:
    """One pull of the day. ``refused``: why its file cannot be read ("" if it can)."""

    file: Path
    specimen: dict[str, str | float] = field(default_factory=dict)
    kind: str = ""
    mode: str = ""
    maximum_n: float = math.nan
    u95_n: float = math.nan
    time_to_max_s: float = math.nan
    reason: str = ""
    note: str = ""
    photo: str = ""
    flags: tuple[str, ...] = ()
    curve: Columns | None = None
    refused: str = ""

    @property
    def label(self) -> str:
        """The label on the wood, else the file's name."""
        return str(self.specimen.get("label") or self.file.stem)


class Day:
    """Starts the reader, takes in what it says. ``stale`` asks for another reading."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.pulls: tuple[DayPull, ...] = ()
        self._coming: list[DayPull] = []
        self._child: Child | None = None
        self.trouble = ""

    @property
    def reading(self) -> bool:
        """Whether the reader is at work."""
        return self._child is not None

    def read(self) -> None:
        """Read the folder anew."""
        self.close()
        if self.folder is None:
            return
        self._coming, self.trouble = [], ""
        self._child = Child(READER, str(self.folder))

    def look(self) -> bool:
        """Take in what came; return whether anything is new."""
        if self._child is None:
            return False
        new = [_pull(document) for document in self._child.take()]
        self._coming += new
        if len(self._coming) > len(self.pulls) or self._child.ended:
            self.pulls = tuple(self._coming)
        if self._child.ended:
            if self._child.failed:
                self.trouble = "the recordings could not be read; try `pullstand reduce`"
            self.close()
        return bool(new)

    def change(self, file: Path, **words: str) -> None:
        """Show a word just added, before the file is read again."""
        self.pulls = tuple(
            replace(pull, **words) if pull.file == file else pull  # type: ignore[arg-type]
            for pull in self.pulls
        )

    def close(self) -> None:
        """End the reader."""
        if self._child is not None:
            self._child.close()
            self._child = None


def _pull(told: dict[str, Any]) -> DayPull:
    file = Path(told.pop("file"))
    if "refused" in told:
        return DayPull(file, refused=told["refused"])
    curve = told.pop("curve")
    told["flags"] = tuple(told["flags"])
    for key in ("maximum_n", "u95_n", "time_to_max_s"):
        told[key] = math.nan if told[key] is None else told[key]
    return DayPull(file, curve=_columns(curve), **told)


def _columns(told: dict[str, Any]) -> Columns | None:
    if not told["least_n"]:
        return None
    least, greatest = (
        np.array([math.nan if value is None else value for value in told[key]], np.float64)
        for key in ("least_n", "greatest_n")
    )
    width_s = told["span_s"] / len(least)
    return Columns(least, greatest, np.array(told["flags"], np.uint16), 0.0, width_s)
