"""A result as one flat JSON document, and such documents kept line by line while they come."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import Any

from analysis.pull_result import PullResult
from daq.faults import InputFault
from tui.output import plain

Document = dict[str, Any]


def result_document(result: PullResult) -> Document:
    """Return a PullResult with one key for each figure."""
    document = asdict(result)
    nested = [document.pop(name) for name in ("course", "thread", "extra")]
    flat: Document = plain(document | nested[0] | nested[1] | nested[2])
    return flat


class KeptResults:
    """Documents in a file, one JSON line each, added as they come; a second run goes on after them.

    A line counts while its recording has the same size and date, and this program is the same.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._kept: dict[str, Document] = {}
        if path.exists():
            self._read()

    def of(self, file: Path) -> Document | None:
        """Return the document of a recording that has not changed since, else None."""
        kept = self._kept.get(str(file.resolve()))
        if kept is None or kept["made_from"] != made_from(file):
            return None
        return dict(kept["result"])

    def add(self, file: Path, document: Document) -> None:
        """Write one more document, at once. Raises InputFault."""
        line = {"recording": str(file.resolve()), "made_from": made_from(file), "result": document}
        try:
            with self._path.open("a", encoding="utf-8") as out:
                out.write(json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n")
        except OSError as error:
            raise InputFault(f"{self._path}: cannot be written ({error.strerror}).") from error

    def _read(self) -> None:
        lines = self._path.read_bytes().split(b"\n")
        for number, text in enumerate(lines[:-1], start=1):
            try:
                line = json.loads(text)
                self._kept[line["recording"]] = {key: line[key] for key in ("made_from", "result")}
            except (ValueError, KeyError, TypeError):
                raise InputFault(
                    f"{self._path}:{number}: is no line of results. Name a new file for --output."
                ) from None
        if lines[-1]:  # a line that was cut short: closed, so that the next one stands by itself
            with self._path.open("r+b") as file:
                file.truncate(len(b"\n".join(lines[:-1])) + (1 if len(lines) > 1 else 0))


def made_from(file: Path) -> list[str | int]:
    """Return what a result hangs on: size and date of the recording, and the program's own text."""
    status = file.stat()
    return [status.st_size, status.st_mtime_ns, program_text()]


@cache
def program_text() -> str:
    """Return a name for the sources that make results: any change of them is another program."""
    import analysis
    import daq

    digest = hashlib.sha256()
    for room in (daq, analysis):
        for path in sorted(Path(str(room.__file__)).parent.rglob("*.py")):
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def figure(document: Mapping[str, Any], key: str) -> float:
    """Return a number of a document, NaN where it has none."""
    value = document.get(key)
    return float("nan") if value is None else float(value)
