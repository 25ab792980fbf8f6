"""Another stop for the rig, if it may carry that; another calibration. Comments stay."""

import os
from dataclasses import replace
from pathlib import Path

from daq.faults import InputFault, Problem
from daq.rig.load_path import stop_problems
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig_text, with_value
from daq.units import format_force, parse_force_n


def with_stop(rig: Rig, typed: str) -> Rig:
    """Return the rig with the stop that a person typed ("5.5 kN").

    A warning that would lie above the new stop moves down with it. Raises InputFault: no force, or
    above what the rig may carry; it names the part and why.
    """
    try:
        stop_n = parse_force_n(typed)
    except ValueError as error:
        raise InputFault(f"stop: {error}") from None
    text = with_value(rig.text, "stop.stop", typed.strip())
    if rig.stop.warn_n >= stop_n:
        warn_n = stop_n * rig.stop.warn_n / rig.stop.stop_n
        text = with_value(text, "stop.warn", format_force(warn_n, "kN"))
    changed = _read_again(rig, text)
    problems = stop_problems(changed)
    if problems:
        raise InputFault(problems)
    return changed


def with_calibration(rig: Rig, file: Path) -> Rig:
    """Return the rig with the calibration in ``file``, named as seen from the rig file.

    Raises InputFault where the rig was read from no file.
    """
    if rig.path is None:
        raise InputFault("the rig was read from no file: no calibration can be named in it")
    name = Path(os.path.relpath(file, rig.path.parent)).as_posix()
    return _read_again(rig, with_value(rig.text, "rig.calibration", name))


def _read_again(rig: Rig, text: str) -> Rig:
    name = str(rig.path) if rig.path else rig.name
    changed = read_rig_text(text, name, rig.path.parent if rig.path else None)
    return replace(changed, path=rig.path)


def write_rig(rig: Rig, before: Rig) -> None:
    """Write the rig's text in place of ``before``'s, all or nothing.

    Raises InputFault where the file was changed meanwhile, is none, or cannot be written.
    """
    if rig.path is None:
        raise InputFault("the rig was read from no file: this holds for this session only")
    try:
        if rig.path.read_text(encoding="utf-8") != before.text:
            raise _fault(rig.path, "was changed meanwhile: nothing written, start again")
        fresh = rig.path.with_name(f".{rig.path.name}.new")
        with fresh.open("w", encoding="utf-8", newline="") as file:
            file.write(rig.text)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(rig.path)
    except (OSError, UnicodeDecodeError) as error:
        raise _fault(rig.path, f"cannot be written: {error}") from None


def _fault(path: Path, message: str) -> InputFault:
    return InputFault([Problem(str(path), None, "", message)])
