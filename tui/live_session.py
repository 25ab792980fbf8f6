"""Puts a session together: rig file, port, decoder, calibration, folder. Decides nothing."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from daq.acquisition import Acquisition
from daq.faults import Fault, InputFault
from daq.force.calibration import Calibration
from daq.force.checks_file import ratio_problems
from daq.rig.load_path import stop_problems
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig
from daq.session_settings import SessionSettings
from daq.sources import BoardSource
from daq.specimen_list import Specimen
from daq.wire.decoders import make_decoder
from daq.wire.known_port import KnownPort
from daq.wire.line_layout import CLOCKS
from daq.wire.serial_port import SerialPort


def usable_rig(path: Path) -> Rig:
    """Return the rig of a file. Raises InputFault, also for what bars it from pulling.

    That is a stop above what the rig may carry, or a ratio check that blocks.
    """
    rig = read_rig(path)
    problems = [*stop_problems(rig), *ratio_problems(rig)]
    if problems:
        raise InputFault(problems)
    return rig


def has_board_clock(rig: Rig) -> bool:
    """Whether samples carry the board's own clock."""
    return rig.link.format == "packet" or any(f in CLOCKS for f in rig.link.fields)


def open_source(rig: Rig, port: str | None) -> BoardSource:
    """Open the port named, or that of the rig file. Raises DeviceFault, InputFault (no name)."""
    return source_opener(rig, port)()


def source_opener(rig: Rig, port: str | None) -> Callable[[], BoardSource]:
    """Return what opens the board's port, again after a replug. Raises InputFault (no name).

    The opener raises DeviceFault. It finds the same adapter under another name.
    """
    name = port or rig.link.port
    if name is None:
        raise InputFault(
            f"{rig.path}: link.port: no port is named. Give --port, or write it into the rig "
            "file; `pullstand ports` lists what is attached."
        )
    known = KnownPort(name)

    def open_it() -> BoardSource:
        opened = SerialPort(known.name(), rig.link.baud, rig.stop.alarm_line)
        known.opened()
        return BoardSource(opened, make_decoder(rig.link, rig.cells))

    return open_it


def board_before(folder: Path) -> str:
    """Return what the board of the newest readable recording in a folder called itself, or ""."""
    from daq.record.reader import read_recording

    with suppress(Fault, OSError, ValueError):  # no folder, no recording, a damaged one
        newest = max(folder.glob("*.h5"), key=lambda path: path.stat().st_mtime)
        return str(read_recording(newest).header.link.get("board", ""))
    return ""


def open_session(
    rig: Rig,
    port: str | None,
    folder: Path | None,
    settings: SessionSettings,
    *,
    reconnect: bool = False,
    after_saved: Callable[[Specimen], None] | None = None,
) -> Acquisition:
    """Open the port and return the session, not started. Raises DeviceFault, InputFault."""
    return Acquisition(
        rig,
        Calibration.from_rig(rig),
        source_opener(rig, port),
        folder=folder,
        settings=settings,
        reconnect=reconnect,
        has_board_clock=has_board_clock(rig),
        after_saved=after_saved,
    )


def parse_specimen(texts: list[str]) -> dict[str, str | float]:
    """Return ``key=value`` texts as a specimen; keys that carry a unit become numbers.

    Raises InputFault.
    """
    specimen: dict[str, str | float] = {}
    for text in texts:
        key, equals, value = (part.strip() for part in text.partition("="))
        if not key or not equals:
            raise InputFault(f"--specimen {text!r}: write key=value, such as label=A-07.")
        specimen[key] = _number(key, value) if key.endswith(UNIT_ENDINGS) else value
    return specimen


UNIT_ENDINGS = ("_mm", "_kg_m3", "_pct")


def _number(key: str, value: str) -> float:
    try:
        return float(value)
    except ValueError:
        raise InputFault(
            f"--specimen {key}={value}: a number is meant (the key carries its unit)."
        ) from None
