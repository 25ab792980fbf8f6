"""``pullstand replay``: a recording through the same chain, to the screen or onto a port."""

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare file, pace and where to."""
    parser.add_argument("file", type=Path, metavar="FILE", help="a recording")
    parser.add_argument("--speed", type=float, default=1.0, metavar="X", help="times faster")
    parser.add_argument(
        "--port", action="store_true", help="send it as a board would, on a port that is printed"
    )
    parser.add_argument("--headless", action="store_true", help="no screen; print what was seen")
    parser.add_argument("--unit", choices=("N", "kN", "kgf", "lbf"), default="kN")


def run(args: argparse.Namespace) -> int:
    """Play the recording."""
    from daq.faults import InputFault
    from tui.replay_session import open_replay

    if not args.speed > 0:
        raise InputFault(f"--speed {args.speed}: a number above 0 is meant.")
    if args.port:
        from tui.replay_port import serve_recording

        return serve_recording(args.file, args.speed, as_json=args.json)
    session = open_replay(args.file, args.speed)
    session.start()
    if args.headless or args.json:
        return _headless(args, session)
    from tui.console import run_console

    return run_console(session, unit=args.unit)


def _headless(args: argparse.Namespace, session: object) -> int:
    from tui.headless import run_headless
    from tui.output import print_json

    document, _ = run_headless(session, None, None)  # type: ignore[arg-type]
    reading = session.latest()  # type: ignore[attr-defined]
    document |= {"max_force_n": reading.maximum_n, "pulls": reading.pull_number}
    if args.json:
        print_json(document)
    else:
        print(f"maximum {reading.maximum_n:.0f} N in {reading.pull_number} pull(s)")  # noqa: T201
    return 0
