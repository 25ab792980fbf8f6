"""Daily checks, kept with their dates: the check weight beside the pulls, the ratio beside the rig.

One JSON object a line, only ever appended; a last line that was cut short is passed over.
"""

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from daq.faults import InputFault, Problem
from daq.force.check_weight import Check, pulls_in_doubt
from daq.force.ratio_check import RatioCheck, check_ratio
from daq.rig.rig import Rig

CHECK_WEIGHTS = "check-weights.jsonl"
RATIO_ENDING = ".ratio-checks.jsonl"
DOUBT = "in doubt: check weight failed"


@dataclass(frozen=True, slots=True)
class RatioFound:
    """One ratio check as it was made: net readings, when, on which build, and why accepted."""

    made_at: datetime
    build: str
    in_line_with_jack: float
    at_specimen_pin: float
    acknowledged: str = ""

    def beside(self, rig: Rig) -> RatioCheck:
        """Return it beside the tape measure of today's rig file."""
        found = check_ratio(self.in_line_with_jack, self.at_specimen_pin, rig.lever)
        return RatioCheck(
            found.in_line_with_jack, found.at_specimen_pin, found.tape_ratio, self.acknowledged
        )


def keep_check_weight(
    folder: Path, check: Check, *, rig: Rig, calibration: str, typed: str
) -> Path:
    """Add a check weight to the folder of the pulls. Raises InputFault."""
    file = folder / CHECK_WEIGHTS
    held = {
        "made_at": _local(check.at_s).isoformat(),
        "rig": rig.name,
        "build": rig.build,
        "calibration": calibration,
        "weight": typed,
        "expected_n": check.expected_n,
        "indicated_n": check.indicated_n,
        "tolerance": check.tolerance,
        "passed": check.passed,
    }
    _append(file, held)
    return file


def read_check_weights(folder: Path) -> tuple[Check, ...]:
    """Return the check weights kept in a folder of pulls; none where there is no file.

    Raises InputFault naming the line.
    """
    found = []
    for line, held in _lines(folder / CHECK_WEIGHTS):
        try:
            found.append(
                Check(
                    datetime.fromisoformat(held["made_at"]).timestamp(),
                    float(held["expected_n"]),
                    float(held["indicated_n"]),
                    float(held["tolerance"]),
                )
            )
        except (KeyError, TypeError, ValueError, OverflowError) as error:
            raise _fault(folder / CHECK_WEIGHTS, line, f"is no check weight ({error})") from None
    return tuple(found)


def flags_from_checks(checks: Sequence[Check], started_at: datetime) -> tuple[str, ...]:
    """Return the flag of a pull begun at ``started_at``: none, or which failed check it is beside.

    ``Check.at_s`` are seconds since 1970 here. The rule is that of ``pulls_in_doubt``.
    """
    started_s = started_at.timestamp()
    if not pulls_in_doubt(checks, [started_s]):
        return ()
    failed = [check for check in checks if not check.passed]
    nearest = min(failed, key=lambda check: (check.at_s < started_s, abs(check.at_s - started_s)))
    when = _local(nearest.at_s).strftime("%Y-%m-%d %H:%M")
    return (f"{DOUBT} ({when}, {100.0 * nearest.error_rel:+.1f} %)",)


def ratio_file(rig: Path) -> Path:
    """Return where the ratio checks of a rig file are kept."""
    return rig.with_name(rig.stem + RATIO_ENDING)


def keep_ratio(rig: Rig, found: RatioFound) -> Path:
    """Add a ratio check beside the rig file. Raises InputFault."""
    if rig.path is None:
        raise InputFault("the rig was read from no file, beside which its ratio could be kept")
    file = ratio_file(rig.path)
    held = {
        "made_at": found.made_at.isoformat(),
        "build": found.build,
        "in_line_with_jack": found.in_line_with_jack,
        "at_specimen_pin": found.at_specimen_pin,
        "acknowledged": found.acknowledged,
    }
    _append(file, held)
    return file


def latest_ratio(rig: Rig) -> RatioFound | None:
    """Return the newest ratio check of this build; None where none was made. Raises InputFault."""
    if rig.path is None:
        return None
    file, newest = ratio_file(rig.path), None
    for line, held in _lines(file):
        try:
            if str(held["build"]) == rig.build:
                newest = RatioFound(
                    datetime.fromisoformat(held["made_at"]),
                    rig.build,
                    float(held["in_line_with_jack"]),
                    float(held["at_specimen_pin"]),
                    str(held["acknowledged"]),
                )
                newest.beside(rig)
        except (KeyError, TypeError, ValueError) as error:
            raise _fault(file, line, f"is no ratio check ({error})") from None
    return newest


def ratio_problems(rig: Rig) -> list[Problem]:
    """Return why the rig's ratio may not be believed: a check that blocks. Empty: none does."""
    found = latest_ratio(rig)
    check = None if found is None else found.beside(rig)
    if found is None or check is None or not check.blocks:
        return []
    words = f"{check.words} (`pullstand calibrate --ratio-check`, made on {found.made_at.date()})"
    return [Problem(str(rig.path), None, "lever.jack_arm", words)]


def _local(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds).astimezone()


def _append(file: Path, held: dict[str, Any]) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("a+b") as out:
            out.seek(0)
            whole = out.read().rfind(b"\n") + 1
            out.truncate(whole)  # a line cut short was never told to anybody
            out.write(json.dumps(held, ensure_ascii=False).encode() + b"\n")
            out.flush()
            os.fsync(out.fileno())
    except OSError as error:
        raise _fault(file, None, f"cannot be written: {error}") from None


def _lines(file: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return
    except (OSError, UnicodeDecodeError) as error:
        raise _fault(file, None, f"cannot be read: {error}") from None
    lines = text.split("\n")
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            held = json.loads(line)
        except (ValueError, RecursionError):
            if number == len(lines):
                return  # cut short as it was written
            raise _fault(file, number, "is not a line of checks: mend or move the file") from None
        if not isinstance(held, dict):
            raise _fault(file, number, "is not a line of checks: mend or move the file")
        yield number, held


def _fault(file: Path, line: int | None, message: str) -> InputFault:
    return InputFault([Problem(str(file), line, "", message)])
