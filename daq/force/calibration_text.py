"""A calibration as JSON text: a file of its own, and whole inside every recording."""

import dataclasses
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from daq.faults import InputFault, Problem
from daq.force.calibration import Calibration, Point, Quality
from daq.force.curve import Curve

FORM = "pullstand calibration 1"
#: A key of this form that no calibration has ever filled. Fingerprints of all files count it in.
NEVER_FILLED = (("creep_percent", None),)


def content(calibration: Calibration) -> dict[str, Any]:
    """Return everything a calibration holds, as JSON types. Its fingerprint is taken of this."""
    held = {
        item.name: getattr(calibration, item.name)
        for item in dataclasses.fields(calibration)
        if item.init
    }
    held["curves"] = [
        {"coefficients": _floats(curve.coefficients), "up_to_n": _finite(curve.up_to_n)}
        for curve in calibration.curves
    ]
    held["points"] = [
        dataclasses.asdict(point) | {"responses": _floats(point.responses)}
        for point in calibration.points
    ]
    quality = calibration.quality
    held["quality"] = dataclasses.asdict(quality) | dict(NEVER_FILLED) if quality else None
    return held


def to_json(calibration: Calibration) -> str:
    """Return the text of a calibration file."""
    head = {"form": FORM, "fingerprint": calibration.fingerprint}
    return json.dumps(head | content(calibration), indent=1, ensure_ascii=False) + "\n"


def from_json(text: str, file: str) -> Calibration:
    """Return the calibration in ``text``. Raises InputFault naming ``file``, line and key."""
    try:
        held = json.loads(text)
    except json.JSONDecodeError as error:
        raise _fault(file, error.lineno, "", f"not a calibration file ({error.msg})") from None
    except RecursionError:
        raise _fault(file, None, "", "not a calibration file (nested without end)") from None
    if not isinstance(held, dict) or held.get("form") != FORM:
        raise _fault(file, None, "form", f'not a calibration file: form = "{FORM}" is missing')
    try:
        calibration = _built(held)
    except KeyError as error:
        raise _fault(file, None, str(error.args[0]), "is missing: make the file anew") from None
    except (TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _fault(file, None, "", f"not usable: {error}; make the file anew") from None
    if calibration.fingerprint != held.get("fingerprint"):
        raise _fault(
            file,
            None,
            "fingerprint",
            f"says {held.get('fingerprint')}, the content gives {calibration.fingerprint}: the "
            "file was changed after it was made. Put the change in the points and calibrate again",
        )
    return calibration


def read_calibration(path: Path) -> Calibration:
    """Return the calibration in a file. Raises InputFault."""
    try:
        return from_json(path.read_text(encoding="utf-8"), str(path))
    except OSError as error:
        reason = error.strerror or str(error)
        raise _fault(str(path), None, "calibration", f"cannot be read: {reason}") from None
    except UnicodeDecodeError:
        raise _fault(str(path), None, "", "not a calibration file (not text)") from None


def write_calibration(calibration: Calibration, path: Path) -> None:
    """Write a new calibration file. Raises InputFault where one exists: none is replaced."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(to_json(calibration))
    except FileExistsError:
        raise _fault(
            str(path), None, "", "exists, and a calibration is never replaced: give another name"
        ) from None
    except OSError as error:
        raise _fault(str(path), None, "", f"cannot be written: {error.strerror}") from None


def _built(held: Mapping[str, Any]) -> Calibration:
    names = [item.name for item in dataclasses.fields(Calibration) if item.init]
    values = {name: held[name] for name in names}
    values["cells"] = tuple(map(str, values["cells"]))
    values["signs"] = tuple(map(int, values["signs"]))
    values["curves"] = tuple(map(_curve, values["curves"]))
    values["points"] = tuple(map(_point, values["points"]))
    values["quality"] = _quality(values["quality"])
    if values["load_at"] not in ("cells", "specimen"):
        raise ValueError(f'load_at is "cells" or "specimen", not {values["load_at"]!r}')
    return Calibration(**values)


def _curve(held: Mapping[str, Any]) -> Curve:
    top = held["up_to_n"]
    return Curve(_floats(held["coefficients"]), math.inf if top is None else float(top))


def _point(held: Mapping[str, Any]) -> Point:
    return Point(**{**held, "responses": _floats(held["responses"])})


def _quality(held: Mapping[str, Any] | None) -> Quality | None:
    if held is None:
        return None
    known = {key: value for key, value in held.items() if (key, value) not in NEVER_FILLED}
    known["covariance"] = tuple(_floats(row) for row in held["covariance"])
    known["coefficients"] = _floats(held["coefficients"])
    return Quality(**known)


def _floats(values: Any) -> tuple[float, ...]:
    return tuple(map(float, values))


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _fault(file: str, line: int | None, key: str, message: str) -> InputFault:
    return InputFault([Problem(file, line, key, message)])
