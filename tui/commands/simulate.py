"""pullstand simulate: a simulated board on a serial port, till its script ends or Ctrl-C."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from daq.faults import InputFault

if TYPE_CHECKING:
    from simulators.serving import Announcement, BoardOrder
    from simulators.weights import WeightsOrder


EXAMPLES = """\
examples:
  pullstand simulate split --seed 3 --link /tmp/board
  pullstand simulate weights --masses 0,5,10,20 --at cells --link /tmp/board
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add = parser.add_argument
    parser.epilog = EXAMPLES
    add(
        "scenario",
        metavar="SCENARIO",
        help="what kind of pull (a wrong name lists them all), or weights",
    )
    add("--masses", metavar="KG,...", help="weights: which are put on, in kg, such as 0,5,10,20")
    add(
        "--at",
        choices=["cells", "specimen", "both"],
        help="weights: on the bare cells, at the specimen, or one in line with the jack and then "
        "at the specimen pin",
    )
    add("--rounds", type=int, metavar="N", help="weights: how often up and down again (default 2)")
    add("--seed", type=int, default=0, help="another seed, another specimen (default 0)")
    add("--pulls", type=int, default=1, metavar="N", help="so many pulls, a new specimen each")
    add("--speed", type=float, default=1.0, metavar="X", help="so many times faster than life")
    add(
        "--fault",
        action="append",
        default=[],
        metavar="NAME[@S]",
        dest="faults",
        help="a fault of board or cable, S seconds from opening; a wrong name lists them",
    )
    add("--format", choices=["text", "packet"], dest="wire_format", help="default: the rig file's")
    add("--rig", type=Path, metavar="FILE", help="the rig to simulate (default: the demo's)")
    add("--link", type=Path, metavar="PATH", help="a second name for the port while it lasts")
    add("--truth", type=Path, metavar="FILE", help="where to write what was really true")


def run(args: argparse.Namespace) -> int:
    """Serve the board. The port is the first line on stdout, or in the JSON document."""
    from simulators.scenario import ScenarioError
    from simulators.serving import interrupted_by_terminate, run_board

    try:
        with interrupted_by_terminate():
            run_board(_order(args), _tell_json if args.json else _tell)
    except ScenarioError as error:
        raise InputFault(str(error)) from None
    except BrokenPipeError:
        raise  # whoever read our words has gone; no fault of a file
    except OSError as error:
        raise InputFault(
            f"{error.filename2 or error.filename}: {error.strerror}; choose another place."
        ) from None
    return 0


def _order(args: argparse.Namespace) -> "BoardOrder":
    from simulators.serving import BoardOrder
    from simulators.simulated_rig import DEMO_RIG_FILE

    if args.rig is not None:
        from daq.rig.rig_file import read_rig

        read_rig(args.rig)  # its faults are told as everywhere, with line and key
    for option, path in (("--link", args.link), ("--truth", args.truth)):
        if path is not None and not path.parent.is_dir():
            raise InputFault(f"{option} {path}: there is no folder {path.parent}; make it first.")
    if args.link is not None and args.link.exists() and not args.link.is_symlink():
        raise InputFault(f"--link {args.link}: there is a file of that name; choose another.")
    return BoardOrder(
        weights=_weights(args),
        scenario=args.scenario,
        seed=args.seed,
        pulls=args.pulls,
        speed=args.speed,
        faults=tuple(args.faults),
        wire_format=args.wire_format,
        rig_file=args.rig or DEMO_RIG_FILE,
        link=args.link,
        truth=args.truth,
    )


def _weights(args: argparse.Namespace) -> "WeightsOrder | None":
    from simulators.weights import WeightsOrder

    if args.scenario != "weights":
        if args.masses or args.at or args.rounds:
            raise InputFault("--masses, --at and --rounds go with the scenario weights.")
        return None
    try:
        masses = [float(text) for text in (args.masses or "0,5,10,20").split(",")]
    except ValueError:
        raise InputFault(
            f"--masses {args.masses}: kilograms are meant, such as 0,5,10,20."
        ) from None
    return WeightsOrder(tuple(kg for kg in masses if kg), args.at or "cells", args.rounds or 2)


def _tell(said: "Announcement") -> None:
    from tui.output import say

    print(said.port, flush=True)  # noqa: T201 - the result of this command
    say(f"{said.scenario}, seed {said.seed}: {said.duration_s / said.speed:.0f} s from opening.")
    say("From another terminal:")
    weights = said.scenario == "weights"
    command = "calibrate" if weights else "pull --out pulls"
    say(f"  pullstand {command} --rig {said.rig_file} --port {said.link or said.port}")
    if not weights:
        say("The hook is slack for the first seconds: on the console, z takes the zero then.")


def _tell_json(said: "Announcement") -> None:
    from dataclasses import asdict

    from tui.output import print_json

    print_json(asdict(said))
