"""``pullstand pull``: watch and record pulls, on the console or headless."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare rig, port, folder, specimen and how to end."""
    parser.add_argument("--rig", type=Path, required=True, metavar="FILE", help="the rig file")
    parser.add_argument("--port", help="port path or pyserial URL (default: the rig file's)")
    parser.add_argument(
        "--out", type=Path, default=Path("pulls"), metavar="DIR", help="folder for recordings"
    )
    parser.add_argument(
        "--specimen", action="append", default=[], metavar="KEY=VALUE", help="such as label=A-07"
    )
    parser.add_argument(
        "--headless",
        action="store_true",
        help="no screen: zero by itself when slack and quiet, record, print what came of it",
    )
    parser.add_argument("--pulls", type=int, metavar="N", help="headless: end after N pulls")
    parser.add_argument("--seconds", type=float, metavar="S", help="headless: end after S seconds")
    parser.add_argument(
        "--unit", choices=("N", "kN", "kgf", "lbf"), default="kN", help="unit on the screen"
    )


def run(args: argparse.Namespace) -> int:
    """Open the session and hand it to the console, or wait headless."""
    from daq.pull_session import SessionSettings
    from tui.live_session import open_session, parse_specimen, usable_rig

    rig = usable_rig(args.rig)
    settings = SessionSettings(specimen=parse_specimen(args.specimen), auto_zero=args.headless)
    session = open_session(rig, args.port, args.out, settings, reconnect=not args.headless)
    session.start()
    if args.headless:
        return _headless(args, session)
    from tui.console import run_console

    return run_console(session, unit=args.unit)


def _headless(args: argparse.Namespace, session: object) -> int:
    from tui.headless import run_headless
    from tui.output import print_json, say

    document, fault = run_headless(session, args.pulls, args.seconds)  # type: ignore[arg-type]
    if args.json:
        print_json(document)
    else:
        for path in document["recordings"]:
            print(path)  # noqa: T201
    if fault is not None:
        say(f"pullstand: {fault}")
        return fault.exit_code
    return 0
