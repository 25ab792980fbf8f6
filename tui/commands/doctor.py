"""``pullstand doctor``: what is wrong with this set-up, and what to do."""

import argparse
import os
import shutil
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

ROOMS = ("daq", "analysis", "tui", "simulators")
SMALLEST = (80, 24)
LITTLE_ROOM_BYTES = 200_000_000


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: is it well, what was seen, what to do if not."""

    what: str
    well: bool
    seen: str
    do: str = ""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to look at besides the machine."""
    parser.add_argument("--rig", type=Path, metavar="FILE", help="a rig file to read and judge")
    parser.add_argument(
        "--out", type=Path, default=Path("pulls"), metavar="DIR", help="folder for recordings"
    )


def run(args: argparse.Namespace) -> int:
    """Look at everything, say what was found; 2 where something is wrong."""
    from tui.output import print_json

    findings = [_python(), _rooms(), _terminal(), _colour(), _ports(), _disk(args.out)]
    if args.rig is not None:
        findings += [_rig(args.rig), *_calibration(args.rig)]
    if args.json:
        print_json({"findings": [asdict(f) for f in findings], "well": _all_well(findings)})
    else:
        for finding in findings:
            mark = "well " if finding.well else "LOOK "
            seen = finding.seen.replace("\n", "\n      ")
            print(f"{mark} {finding.what}: {seen}")  # noqa: T201
            if not finding.well:
                print(f"      {finding.do}")  # noqa: T201
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
