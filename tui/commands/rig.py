"""pullstand rig check: will the rig take it."""

import argparse
from pathlib import Path
from typing import Any

ABOUT_CHECK = """\
check reads a rig file and lists every part of the load path, weakest first,
with the stop that it allows. A stop above the allowed one is an error.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = ABOUT_CHECK
    parser.add_argument("action", choices=["check"], help="what to do with the rig file")
    parser.add_argument("file", metavar="FILE", type=Path, help="the rig file (TOML)")
    parser.add_argument(
        "--ratio",
        metavar="R",
        type=_ratio,
        help="what if the hook hung where it gives this ratio, such as 3 or 3:1",
    )


def run(args: argparse.Namespace) -> int:
    """Print the load path; a stop above the allowed one is an input fault."""
    from daq.faults import InputFault
    from daq.rig.load_path import at_ratio, load_path, stop_problems
    from daq.rig.rig_file import read_rig
    from tui.output import print_json

    rig = read_rig(args.file)
    path = load_path(rig)
    what_if = load_path(at_ratio(rig, args.ratio)) if args.ratio is not None else None
    if args.json:
        document = {"rig": rig.name, "build": rig.build, **as_document(path)}
        if what_if is not None:
            document["what_if"] = as_document(what_if)
        print_json(document)
    else:
        _show(rig, path, what_if)
    problems = stop_problems(rig)
    if problems:
        raise InputFault(problems)
    return 0


def as_document(path: Any) -> dict[str, Any]:
    """Return a load path as JSON holds it: SI units, unknown limits as null."""
    effort = path.effort_at_stop
    return {
        "ratio": path.ratio,
        "u_ratio_rel": path.u_ratio_rel,
        "friction_loss_rel": path.friction_loss_rel,
        "parts": [
            {
                "name": part.name,
                "acts_at": part.acts_at,
                "limit_n": part.limit_n,
                "limit_at_specimen_n": part.limit_at_specimen_n,
                "source": part.source,
            }
            for part in path.parts
        ],
        "weakest": path.weakest.name,
        "unknown": path.unknown,
        "stop_n": path.stop_n,
        "stop_allowed_n": path.stop_allowed_n,
        "stop_ok": path.stop_ok,
        "stored_energy_j": path.stored_energy_j,
        "jack": effort
        and {
            "torque_nmm": effort.torque_nmm,
            "crank_n": effort.crank_n,
            "efficiency": effort.efficiency,
            "self_locking": effort.self_locking,
        },
        "cautions": path.cautions,
    }


def _show(rig: Any, path: Any, what_if: Any) -> None:
    from rich.console import Console

    from tui.rig_page import rig_page

    console = Console()
    for piece in rig_page(rig, path, what_if):
        console.print(piece)


def _ratio(text: str) -> float:
    try:
        return float(text.removesuffix(":1"))
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is no ratio; write 3 or 3:1') from None
