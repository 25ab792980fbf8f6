"""``pullstand replay``: a recording through the same chain, to the screen or onto a port."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.acquisition import Acquisition
    from daq.record.reader import Recording
    from simulators.transmission import Transmission

LEAD_IN_S = 1.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare file, pace and where to."""
    parser.add_argument("file", type=Path, metavar="FILE", help="a recording")
    parser.add_argument(
        "--speed", type=float, default=1.0, metavar="X", help="so many times faster than life"
    )
    parser.add_argument(
        "--port",
        action="store_true",
        help="no screen: send it as a board would, on a new port whose name is printed (takes no "
        "name of its own)",
    )
    parser.add_argument("--headless", action="store_true", help="no screen: print what was seen")
    parser.add_argument(
        "--expect", metavar="FORCE", help='maximum expected, such as "4.5 kN", for the pace'
    )
    parser.add_argument(
        "--unit",
        choices=("N", "kN", "kgf", "lbf"),
        help="on the screen (default: the settings')",
    )


def run(args: argparse.Namespace) -> int:
    """Play the recording."""
    from daq.faults import InputFault
    from daq.record.reader import read_recording
    from daq.sources import Playhead
    from tui.replay_session import open_replay

    if not args.speed > 0:
        raise InputFault(f"--speed {args.speed}: a number above 0 is meant.")
    if args.port:
        return _onto_port(args)
    if args.headless or args.json:
        session = open_replay(read_recording(args.file), Playhead(args.speed))
        session.start()
        return _headless(args, session)
    return _console(args)


def _console(args: argparse.Namespace) -> int:
    from tui.around import Around
    from tui.console import run_console
    from tui.key_table import At
    from tui.pace import read_expected, wanted_on
    from tui.replay_session import ReplaySession

    expected_n = read_expected(args.expect)
    session = ReplaySession(args.file, args.speed)
    session.start()
    around = Around(at=At.REPLAY, rig=session.rig, playing=session)
    wanted = wanted_on(session.rig, expected_n)
    return run_console(session, unit=args.unit, wanted=wanted, cautions=False, around=around)


def _headless(args: argparse.Namespace, session: "Acquisition") -> int:
    from tui.headless import run_headless
    from tui.output import print_json

    document, _ = run_headless(session, None, None)
    reading = session.latest()
    document |= {"max_force_n": reading.maximum_n, "pulls": reading.pull_number}
    if args.json:
        print_json(document)
    else:
        pulls = "1 pull" if reading.pull_number == 1 else f"{reading.pull_number} pulls"
        print(f"maximum {reading.maximum_n:.0f} N in {pulls}")  # noqa: T201
    return 0


def _onto_port(args: argparse.Namespace) -> int:
    from daq.record.reader import read_recording
    from simulators.pty_board import PlayingBoard, open_port
    from tui.output import print_json

    recording = read_recording(args.file)
    board = PlayingBoard(port := open_port(), transmission(recording), args.speed)
    if args.json:
        print_json({"port": port.name, "samples": len(recording.samples)})
    else:
        print(port.name, flush=True)  # noqa: T201
    try:
        board.run()
    finally:
        port.close()
    return 0


def transmission(recording: "Recording") -> "Transmission":
    """Return what a board would have to send to make this recording again, as text lines.

    The first line is a banner, since whatever comes first after opening is taken for cut.
    """
    from daq.wire.sample_clock import fit_clock, seconds
    from simulators.transmission import Sending, Transmission
    from simulators.wire_encoder import TextWire

    header, samples = recording.header, recording.samples
    wire = TextWire(
        fields=tuple(str(header.link["fields"]).split()),
        cells=tuple(cell.field for cell in header.cells),
        separator=",",
        checksum="none",
        line_end=b"\n",
    )
    due_s = LEAD_IN_S + seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    banner = Sending(0.0, wire.message(0, 0, "pullstand replay"), 0, "message")
    rows = zip(
        due_s.tolist(), samples["board_us"].tolist(), samples["counts"].tolist(), strict=True
    )
    lines = (
        Sending(due, wire.sample(number, clock_us % 2**32, counts), 1, "good")
        for number, (due, clock_us, counts) in enumerate(rows)
    )
    return Transmission((banner, *lines), (), None, quiet_until_s=LEAD_IN_S)
