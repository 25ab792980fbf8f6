"""The header of a pull, put together from what the session knows."""

from collections.abc import Mapping
from dataclasses import asdict
from importlib import metadata

from daq.force.calibration import Calibration
from daq.force.zero import Zero
from daq.record.header import CellHeader, RigHeader, RunHeader, ZeroRecord
from daq.rig.rig import Rig
from daq.wall_anchor import WallAnchor


def run_header(
    rig: Rig,
    calibration: Calibration,
    anchor: WallAnchor,
    *,
    started_ns: int,
    pull_number: int,
    zero_before: Zero | None,
    specimen: Mapping[str, str | float],
    session: Mapping[str, str | float],
    has_board_clock: bool,
    board: str = "",
) -> RunHeader:
    """Return all that must be known before the first sample of a pull."""
    return RunHeader(
        started_at=anchor.at(started_ns),
        started_ns=started_ns,
        pull_number=pull_number,
        rig=RigHeader(rig.name, rig.build, rig.text),
        cells=tuple(CellHeader(c.name, c.field, c.capacity_n, c.sign) for c in rig.cells),
        calibration=calibration.to_json(),
        calibration_fingerprint=calibration.fingerprint,
        ratio=rig.lever.ratio,
        lever=asdict(rig.lever),
        has_board_clock=has_board_clock,
        link=_link(rig, board),
        stop_n=rig.stop.stop_n,
        warn_n=rig.stop.warn_n,
        program_version=program_version(),
        zero_before=zero_record(zero_before, anchor),
        specimen=specimen,
        session=session,
    )


def _link(rig: Rig, board: str) -> dict[str, str | float]:
    link: dict[str, str | float] = {
        "port": rig.link.port or "",
        "baud": float(rig.link.baud),
        "format": rig.link.format,
        "fields": " ".join(rig.link.fields),
    }
    return link | ({"board": board} if board else {})


def zero_record(zero: Zero | None, anchor: WallAnchor) -> ZeroRecord | None:
    """Return a zero as the file keeps it."""
    if zero is None:
        return None
    taken_at = anchor.at(zero.taken_ns)
    return ZeroRecord(zero.counts, zero.sd, taken_at, zero.taken_ns, max(1, zero.samples))


def program_version() -> str:
    """Return this program's version as installed."""
    try:
        return metadata.version("pullstand")
    except metadata.PackageNotFoundError:
        return "not installed"
