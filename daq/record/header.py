"""The header of a recording: what must be known to do the sums again in ten years.

Plain values only; the header is written before the first sample, as one JSON text.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import datetime
from typing import Any

from daq.faults import RecordingFault
from daq.record import layout
from daq.record.inert_text import MAX_VALUE, encodable, inert, inert_mapping

MAX_KEYS = 500
MAX_LONG_TEXT = 1 << 20


@dataclass(frozen=True, slots=True)
class CellHeader:
    """One load cell, in the order of ``counts``."""

    name: str
    field: str
    capacity_n: float
    sign: int = 1


@dataclass(frozen=True, slots=True)
class RigHeader:
    """The rig: its name, build, and the whole text of its file."""

    name: str
    build: str
    text: str


@dataclass(frozen=True, slots=True)
class ZeroRecord:
    """A zero: counts and standard deviation per cell, when (wall clock, and monotonic).

    ``samples`` is how many it is the mean of; 1 where a file does not say.
    """

    counts: tuple[float, ...]
    sd_counts: tuple[float, ...]
    taken_at: datetime
    taken_ns: int
    samples: int = 1


@dataclass(frozen=True, slots=True)
class RunHeader:
    """Everything known before the first sample. Texts are made inert, numbers must be finite.

    ``started_at`` (with UTC offset) and ``started_ns`` (host's monotonic clock) are one moment.
    ``calibration`` is the JSON text of the calibration, ``calibration_fingerprint`` its name.
    ``ratio`` is specimen force over jack force. Raises RecordingFault for values no file can hold.
    """

    started_at: datetime
    started_ns: int
    pull_number: int
    rig: RigHeader
    cells: tuple[CellHeader, ...]
    calibration: str
    calibration_fingerprint: str
    ratio: float
    lever: Mapping[str, str | float]
    has_board_clock: bool
    link: Mapping[str, str | float]
    stop_n: float
    warn_n: float
    program_version: str
    zero_before: ZeroRecord | None = None
    specimen: Mapping[str, str | float] = field(default_factory=dict)
    session: Mapping[str, str | float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        clean: dict[str, Any] = {
            name: inert_mapping(getattr(self, name))
            for name in ("lever", "link", "specimen", "session")
        }
        clean["rig"] = RigHeader(
            inert(self.rig.name), inert(self.rig.build), encodable(self.rig.text)
        )
        clean["cells"] = tuple(
            CellHeader(inert(c.name), inert(c.field), float(c.capacity_n), int(c.sign))
            for c in self.cells
        )
        clean["calibration"] = encodable(self.calibration)
        for name in ("calibration_fingerprint", "program_version"):
            clean[name] = inert(getattr(self, name))
        for name, value in clean.items():
            object.__setattr__(self, name, value)
        _check(self)

    @property
    def label(self) -> str:
        """The specimen's label ("" without one)."""
        return str(self.specimen.get("label", ""))


def _check(header: RunHeader) -> None:
    if header.started_at.utcoffset() is None:
        raise RecordingFault("The start time of a recording needs its UTC offset.")
    if not 1 <= len(header.cells) <= layout.MAX_CELLS:
        raise RecordingFault(
            f"A recording holds 1 to {layout.MAX_CELLS} cells, not {len(header.cells)}."
        )
    numbers = {"ratio": header.ratio, "stop_n": header.stop_n, "warn_n": header.warn_n}
    numbers |= {f"capacity of cell {c.name}": c.capacity_n for c in header.cells}
    for name, number in numbers.items():
        if not math.isfinite(number):
            raise RecordingFault(f"The recording's {name} is {number}, which is no number to use.")
    zero = header.zero_before
    if zero is not None:
        check_zero(zero, len(header.cells))
    for name in ("lever", "link", "specimen", "session"):
        if len(getattr(header, name)) > MAX_KEYS:
            raise RecordingFault(f"The recording's {name} has more than {MAX_KEYS} keys.")
    for name, text in (("rig file", header.rig.text), ("calibration", header.calibration)):
        if len(text) > MAX_LONG_TEXT:
            raise RecordingFault(f"The {name} is longer than {MAX_LONG_TEXT} characters.")


def check_zero(zero: ZeroRecord, cells: int) -> None:
    """Raise RecordingFault unless ``zero`` has one finite value per cell and a time with offset."""
    sizes_fit = len(zero.counts) == len(zero.sd_counts) == cells
    if not sizes_fit or not all(map(math.isfinite, (*zero.counts, *zero.sd_counts))):
        raise RecordingFault(f"A zero needs one finite value and deviation per cell ({cells}).")
    if zero.taken_at.utcoffset() is None:
        raise RecordingFault("The time of a zero needs its UTC offset.")


# -- JSON -------------------------------------------------------------------------------------


def to_json(header: RunHeader) -> str:
    """Return the header as JSON text."""
    plain = asdict(header)
    plain["started_at"] = header.started_at.isoformat()
    plain["zero_before"] = zero_to_plain(header.zero_before)
    return json.dumps(plain, ensure_ascii=False, allow_nan=False)


def from_json(text: str) -> RunHeader:
    """Return the header of a JSON text. Raises RecordingFault for whatever is not one."""
    plain = load_mapping(text, "header")
    try:
        return _from_plain(plain)
    except KeyError as error:
        raise RecordingFault(f"The header of the recording lacks {error}.") from None
    except (TypeError, ValueError, AttributeError, OverflowError) as error:
        words = inert(str(error), 120)
        raise RecordingFault(f"The header of the recording is not usable: {words}.") from None


def _from_plain(plain: dict[str, Any]) -> RunHeader:
    known = {f.name for f in fields(RunHeader)}
    values = {name: value for name, value in plain.items() if name in known}
    values["started_at"] = datetime.fromisoformat(plain["started_at"])
    values["started_ns"] = int(plain["started_ns"])
    values["pull_number"] = int(plain["pull_number"])
    values["rig"] = RigHeader(*(_text(plain["rig"][key]) for key in ("name", "build", "text")))
    values["cells"] = tuple(
        CellHeader(_text(c["name"]), _text(c["field"]), float(c["capacity_n"]), int(c["sign"]))
        for c in plain["cells"]
    )
    for name in ("calibration", "calibration_fingerprint", "program_version"):
        values[name] = _text(plain[name])
    for name in ("ratio", "stop_n", "warn_n"):
        values[name] = float(plain[name])
    values["has_board_clock"] = bool(plain["has_board_clock"])
    values["zero_before"] = zero_from_plain(plain["zero_before"])
    return RunHeader(**values)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(f"a text was expected, not {type(value).__name__}")
    return value


def zero_to_plain(zero: ZeroRecord | None) -> dict[str, Any] | None:
    """Return a zero as JSON can hold it."""
    if zero is None:
        return None
    return asdict(zero) | {"taken_at": zero.taken_at.isoformat()}


def zero_from_plain(plain: Mapping[str, Any] | None) -> ZeroRecord | None:
    """Return the zero that ``zero_to_plain`` wrote. Raises KeyError, TypeError or ValueError."""
    if plain is None:
        return None
    return ZeroRecord(
        counts=tuple(float(value) for value in plain["counts"]),
        sd_counts=tuple(float(value) for value in plain["sd_counts"]),
        taken_at=datetime.fromisoformat(plain["taken_at"]),
        taken_ns=int(plain["taken_ns"]),
        samples=max(1, int(plain.get("samples", 1))),
    )


def load_mapping(text: str, what: str) -> dict[str, Any]:
    """Return the mapping of a JSON text. Raises RecordingFault (NaN and infinity are refused)."""
    try:
        plain = json.loads(text, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        reason = inert(str(error), 120)
        raise RecordingFault(f"The {what} of the recording is not readable: {reason}.") from None
    if not isinstance(plain, dict):
        raise RecordingFault(f"The {what} of the recording is not a mapping.")
    return plain


def _refuse(constant: str) -> float:
    raise ValueError(f"{constant} is not a number to use")


def plain_value(value: Any) -> Any:
    """Return ``value`` as JSON can hold it: numbers that are not finite become None."""
    if value is None or isinstance(value, int | float):
        return value if value is not None and math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {inert(str(key)): plain_value(item) for key, item in value.items()}
    if hasattr(value, "tolist"):
        return plain_value(value.tolist())
    if isinstance(value, list | tuple | set | frozenset):
        return [plain_value(item) for item in value]
    return inert(str(value), MAX_VALUE)


def mapping_json(mapping: Mapping[str, Any]) -> str:
    """Return a result or a change as JSON text."""
    return json.dumps(plain_value(mapping), ensure_ascii=False, allow_nan=False)
