"""``pullstand doctor``: what is wrong with this set-up, and what to do."""

import argparse
import os
import shutil
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.sources import BoardSource

ROOMS = ("daq", "analysis", "tui", "simulators")
SMALLEST = (80, 24)
LITTLE_ROOM_BYTES = 200_000_000
LISTEN_S = 4.0  # a board that starts anew as its port is opened needs a second or two
ENOUGH_SAMPLES = 20


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: is it well, what was seen, what to do if not."""

    what: str
    well: bool
    seen: str
    do: str = ""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to look at besides the machine."""
    parser.add_argument(
        "--rig", type=Path, metavar="FILE", help="a rig file to judge; the port it names is tried"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("pulls"), metavar="DIR", help="folder for recordings"
    )


def run(args: argparse.Namespace) -> int:
    """Look at everything, say what was found; 2 where something is wrong."""
    from tui.output import print_json, show

    findings = [_python(), _rooms(), _terminal(), _colour(), _ports(), _disk(args.out)]
    if args.rig is not None:
        findings += [_rig(args.rig), *_calibration(args.rig), *_board(args.rig)]
    if args.json:
        print_json({"findings": [asdict(f) for f in findings], "well": _all_well(findings)})
    else:
        for finding in findings:
            mark = "well " if finding.well else "LOOK "
            seen = finding.seen.replace("\n", "\n      ")
            show(f"{mark} {finding.what}: {seen}")
            if not finding.well:
                show(f"      {finding.do}")
    return 0 if _all_well(findings) else 2


def _all_well(findings: list[Finding]) -> bool:
    return all(finding.well for finding in findings)


def _python() -> Finding:
    version = ".".join(map(str, sys.version_info[:3]))
    well = (3, 11) <= sys.version_info < (3, 14)
    return Finding("Python", well, version, "Use Python 3.11, 3.12 or 3.13.")


def _rooms() -> Finding:
    """Another package of the same top-level name would take our place without a word."""
    from importlib import metadata

    owners = metadata.packages_distributions()
    shared = {room: sorted(set(owners.get(room, []))) for room in ROOMS}
    clashes = {room: names for room, names in shared.items() if set(names) - {"pullstand"}}
    return Finding(
        "packages",
        not clashes,
        "no name is taken twice" if not clashes else f"taken by others too: {clashes}",
        "Install pullstand alone, in an environment of its own (pipx install .).",
    )


def _terminal() -> Finding:
    size = shutil.get_terminal_size()
    well = size.columns >= SMALLEST[0] and size.lines >= SMALLEST[1]
    return Finding(
        "terminal",
        well,
        f"{size.columns} x {size.lines}",
        "Make the window at least 80 x 24; larger digits want 120 x 40 or more.",
    )


def _colour() -> Finding:
    words = "NO_COLOR is set: words and shapes only" if "NO_COLOR" in os.environ else "in use"
    return Finding("colour", True, words)


def _ports() -> Finding:
    from daq.wire.serial_port import attached_ports

    ports = [port.device for port in attached_ports()]
    return Finding(
        "ports",
        bool(ports),
        ", ".join(ports) or "none attached",
        "Plug the board in, or try without hardware: pullstand demo.",
    )


def _disk(folder: Path) -> Finding:
    there = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    free = shutil.disk_usage(there).free
    writable = os.access(there, os.W_OK)
    return Finding(
        "disk",
        writable and free > LITTLE_ROOM_BYTES,
        f"{free // 1_000_000} MB free for {folder}" + ("" if writable else ", not writable"),
        "Choose another folder with --out, or make room: 200 MB at least.",
    )


def _rig(path: Path) -> Finding:
    from daq.faults import InputFault
    from tui.live_session import usable_rig

    try:
        rig = usable_rig(path)
    except InputFault as fault:
        return Finding("rig file", False, str(fault), "Mend the lines named.")
    return Finding("rig file", True, f"{rig.name}, build {rig.build}, ratio {rig.lever.ratio:.3f}")


def _calibration(path: Path) -> list[Finding]:
    """Look at the calibration of a rig file that can be read: how old it is, has it run out."""
    from contextlib import suppress
    from datetime import date

    from daq.faults import InputFault
    from daq.force.calibration import Calibration
    from daq.rig.rig_file import read_rig

    do = "Put known weights on: pullstand calibrate --rig FILE (see --help)."
    with suppress(InputFault):  # told of the rig file already
        rig = read_rig(path)
        try:
            calibration = Calibration.from_rig(rig)
        except InputFault as fault:
            return [Finding("calibration", False, str(fault), do)]
        today = date.today()
        return [
            Finding("calibration", not calibration.expired(today), calibration.age_words(today), do)
        ]
    return []


def _board(path: Path) -> list[Finding]:
    """Open the port that a rig file names and listen: do lines come, and can they be read."""
    from contextlib import suppress

    from daq.faults import DeviceFault, InputFault
    from daq.rig.rig_file import read_rig
    from tui.live_session import open_source

    with suppress(InputFault):  # told of the rig file already
        rig = read_rig(path)
        if rig.link.port is None:
            words = "the rig file names no port: give --port to each command, or write it there"
            return [Finding("board", True, words)]
        try:
            source = open_source(rig, None)
        except DeviceFault as fault:
            do = "Plug it in, look at `pullstand ports`, and close what else may hold the port."
            return [Finding("board", False, str(fault), do)]
        try:
            return [_heard(rig.link.port, source)]
        except DeviceFault as fault:
            return [Finding("board", False, str(fault), "Look at cable and plug.")]
        finally:
            source.close()
    return []


def _heard(port: str, source: "BoardSource") -> Finding:
    """Listen until there are samples enough, or the time is over."""
    import time

    samples, bad, text = 0, 0, ""
    began_s = time.monotonic()
    while samples < ENOUGH_SAMPLES and time.monotonic() - began_s < LISTEN_S:
        decoded, _ = source.read()
        samples += len(decoded.samples)
        # whatever comes first after opening may begin in the middle of a line
        wrong = [e for e in decoded.events if e.is_bad_line and e.kind != "first line"]
        bad += sum(event.count for event in wrong)
        text = wrong[-1].text if wrong else text
    seconds = time.monotonic() - began_s
    seen = f"{port}: {samples} samples in {seconds:.1f} s"
    if samples >= ENOUGH_SAMPLES and bad <= samples:
        return Finding("board", True, seen if not bad else f"{seen}, {bad} lines not readable")
    if not bad:
        do = "Is the board running, and the cable good for data? Look at `baud` in [link]."
        return Finding("board", False, f"{seen}: it is silent", do)
    do = (
        "Compare `baud`, `format`, `fields`, `separator`, `checksum` in [link] with what the board "
        "sends."
    )
    return Finding("board", False, f'{seen}, {bad} lines not readable, such as "{text}"', do)
