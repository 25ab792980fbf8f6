"""pullstand calibrate: counts to newtons from known weights, and what that may claim."""

import argparse
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from daq.force.calibration_fit import Calibrated, Session
    from daq.force.points_file import PointsTable
    from daq.force.polynomial_fit import Inverse

EXAMPLES = """\
live, with the board attached: says which weight is next, takes it when steady
  pullstand calibrate --rig rig.toml --masses "0, 5 kg, 10 kg, 20 kg" \\
      --weights M2 -o cal.json
  pullstand calibrate --rig rig.toml --ratio-check
  pullstand calibrate --rig rig.toml --check-weight "10 kg" --out pulls

from a table:
  pullstand calibrate --points weights.csv --rig rig.toml --weights M2 \\
      --latitude 52.3 -o cal.json

the table: a header row, commas, decimal points; lines with # are passed over
  mass_kg,response,direction,series,void
  0,1210,up,1,
  20,419800,up,1,
  40,838400,up,1,
  40,838900,up,1,leaned on the rig
  20,420100,down,1,
load_n, load_kgf or load_lbf serve instead of mass_kg; response_left and
response_right give each cell a slope of its own. response is what the board
sends (counts); series numbers the rounds.

Weights fall. Keep feet and fingers out from under them, lift with help, and
never load a cell beyond its capacity.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.epilog = EXAMPLES
    add = parser.add_argument
    add("--rig", metavar="FILE", type=Path, help="the rig file: whose calibration this is")
    add("--points", metavar="CSV", type=Path, help="a table of weights and responses")
    add("-o", "--output", metavar="FILE", type=Path, help="write the calibration file")
    _add_known(parser.add_argument_group("the weights"))
    _add_live(parser.add_argument_group("the live form"))
    _add_fit(parser.add_argument_group("the fit"))


def _add_known(group: "argparse._ArgumentGroup") -> None:
    add = group.add_argument
    known = 'M1, M2 or M3 (OIML classes), weighed to "0.1 %%", or unknown (default)'
    add("--weights", metavar="HOW", default="unknown", help=known)
    where = "where they lie or hang (default: cells)"
    add("--load-at", choices=("cells", "specimen"), default="cells", help=where)
    place = "degrees, for the gravity of the place (default: the rig file's)"
    add("--latitude", metavar="DEG", type=float, help=place)
    add("--height", metavar="M", type=float, help="metres above the sea (default: the rig file's)")
    add("--temperature", metavar="DEGC", type=float, help="of the air")
    add("--date", metavar="DATE", help="when they were put on, year-month-day (default: today)")
    add("--expires", metavar="DATE", help="last day the calibration may be used")


def _add_live(group: "argparse._ArgumentGroup") -> None:
    add = group.add_argument
    add("--port", help="port path or pyserial URL (default: the rig file's)")
    add("--masses", metavar="LIST", help='the weights there are: "0, 5 kg, 10 kg, 20 kg"')
    rounds = "up and down so often (default: 2, or once over each cell)"
    add("--rounds", type=int, metavar="N", help=rounds)
    add("--draft", metavar="CSV", type=Path, help="where points are kept; one begun goes on")
    add("--ratio-check", action="store_true", help="one bucket at two places, mass unknown")
    add("--acknowledge", metavar="REASON", help="accept the last ratio check, and say why")
    add("--check-weight", metavar="MASS", help="does a known weight still read what it did")
    add("--within", metavar="PERCENT", help='limit of the check weight (default "1 %%")')
    add(
        "--out",
        metavar="DIR",
        type=Path,
        default=Path("pulls"),
        help="folder of the pulls, for check weights",
    )


def _add_fit(group: "argparse._ArgumentGroup") -> None:
    add = group.add_argument
    add("--degree", metavar="N", type=int, help="1 to 5 (default: as the points ask for)")
    add("--sum", action="store_true", help="one curve for the sum of the cells")
    loads = "the loads behind these responses"
    add("--invert", metavar="Y", type=float, nargs="+", action="extend", default=[], help=loads)


def run(args: argparse.Namespace) -> int:
    """Fit, print, and write a calibration file where asked; live forms first."""
    from daq.faults import InputFault

    forms = ("points", "ratio_check", "check_weight", "acknowledge")
    chosen = [name for name in forms if getattr(args, name)]
    if len(chosen) > 1:
        names = " and ".join(f"--{name.replace('_', '-')}" for name in chosen)
        raise InputFault(f"{names}: one at a time")
    if not args.points and args.rig is None:
        raise InputFault("give --points FILE, or --rig FILE for the live form (see --help)")
    if args.output is not None and args.output.exists():
        raise InputFault(
            f"{args.output}: exists, and a calibration is never replaced: give another name"
        )
    session = _session(args)
    if args.ratio_check or args.check_weight or args.acknowledge:
        return _check(args, session)
    return _calibrate(args, session)


def _check(args: argparse.Namespace, session: "Session") -> int:
    from tui.live_weights import acknowledge_ratio, live_check_weight, live_ratio_check

    if args.check_weight:
        return live_check_weight(args, session)
    assert session.rig is not None
    if args.acknowledge:
        return acknowledge_ratio(session.rig, args.acknowledge)
    return live_ratio_check(args, session.rig)


def _calibrate(args: argparse.Namespace, session: "Session") -> int:
    from dataclasses import replace

    from daq.force.calibration_fit import fit_calibration
    from daq.force.calibration_text import write_calibration
    from daq.force.points_file import read_points
    from tui.output import print_json, say

    points = args.points
    if points is None:
        from tui.live_weights import live_points

        points = live_points(args, session)
        session = replace(session, summed=args.sum or args.load_at == "specimen")
    table = read_points(points, session.gravity)
    found = fit_calibration(table, session)
    inverses = _inverses(found, args.invert)
    for notice in _notices(table, found, session):
        say(notice)
    if args.json:
        print_json(_document(table, found, inverses))
    else:
        _show(table, found, inverses)
    if args.output is not None:
        asked = args.points is None  # the live form has asked at the first weight
        _agree_to_signs(found, ask=not args.json and not asked and sys.stdin.isatty())
        write_calibration(found.calibration, args.output)
        say(f"written: {args.output} (fingerprint {found.calibration.fingerprint})")
    return 0


def _session(args: argparse.Namespace) -> "Session":
    from datetime import date

    from daq.faults import InputFault
    from daq.force.calibration_fit import Session
    from daq.force.weights import weights_known
    from daq.rig.rig_file import read_rig
    from tui.weights_order import gravity_at

    try:
        weights = weights_known(args.weights)
    except ValueError as error:
        raise InputFault(f"--weights: {error}") from None
    if args.latitude is not None and not -90.0 <= args.latitude <= 90.0:
        raise InputFault(f"--latitude: {args.latitude:g} is not between -90 and 90 degrees")
    if args.height is not None and not -500.0 <= args.height <= 9000.0:
        raise InputFault(f"--height: {args.height:g} m is not a height of a workshop")
    if args.temperature is not None and not -50.0 <= args.temperature <= 60.0:
        raise InputFault(
            f"--temperature: {args.temperature:g} degC is no temperature of a workshop"
        )
    rig = read_rig(args.rig) if args.rig else None
    return Session(
        weights=weights,
        gravity=gravity_at(rig, args.latitude, args.height),
        load_at=args.load_at,
        made_on=_day("--date", args.date) or date.today().isoformat(),
        expires_on=_day("--expires", args.expires),
        temperature_c=args.temperature,
        rig=rig,
        degree=args.degree,
        summed=args.sum,
    )


def _day(option: str, text: str | None) -> str:
    from datetime import date

    from daq.faults import InputFault

    try:
        return date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise InputFault(f"{option}: {text} is no date: year-month-day is meant") from None


def _inverses(found: "Calibrated", responses: list[float]) -> list["Inverse"]:
    from daq.faults import InputFault
    from daq.force.polynomial_fit import invert

    if responses and found.gains:
        raise InputFault(
            "--invert: each cell has a gain of its own here, and one response does not say which: "
            "add --sum"
        )
    return [invert(found.fit, response) for response in responses]


def _notices(table: "PointsTable", found: "Calibrated", session: "Session") -> list[str]:
    notices = []
    if not session.weights.traceable:
        notices.append(f"weights {session.weights.words}")
    if table.is_mass and not session.gravity.surveyed:
        notices.append(
            f"{session.gravity.words}: give --latitude and --height, or write latitude and height "
            "into [rig] of the rig file"
        )
    if found.reversed_cells:
        names = ", ".join(found.reversed_cells)
        notices.append(f"{names}: reads downwards under load; the calibration stores the sign -1")
    return notices


def _agree_to_signs(found: "Calibrated", *, ask: bool) -> None:
    from daq.faults import InputFault
    from tui import typed_lines

    if not (found.reversed_cells and ask):
        return
    names = ", ".join(found.reversed_cells)
    answer = typed_lines.ask(f"Keep the reversed sign of {names}? y or n:")
    if not answer.lower().startswith("y"):
        raise InputFault("nothing written: look at the wiring, then calibrate again")


def _document(
    table: "PointsTable", found: "Calibrated", inverses: list["Inverse"]
) -> dict[str, Any]:
    from dataclasses import asdict

    calibration, fit = found.calibration, found.fit
    quality = calibration.quality
    assert quality is not None  # weights always leave one
    return {
        "degree": fit.degree,
        "coefficients": fit.coefficients,
        "standard_errors": fit.standard_errors,
        "residual_sd": fit.residual_sd,
        "r_squared": fit.r_squared,
        "degrees_of_freedom": fit.dof,
        "llf": quality.llf_n,
        "class_a_from": quality.class_a_from_n,
        "invert": [
            asdict(each) | {"extrapolated": not 0.0 <= each.load <= calibration.verified_to_n}
            for each in inverses
        ],
        "zero_return": quality.zero_return_percent,
        "hysteresis": quality.hysteresis_percent,
        "repeatability": quality.repeatability_percent,
        "largest_error": quality.largest_error_percent,
        "verified_from": calibration.verified_from_n,
        "verified_to": calibration.verified_to_n,
        "statement": calibration.statement,
        "units": {
            "load, llf, class_a_from, verified_from, verified_to": "N",
            "zero_return": "% of the largest response",
            "hysteresis, repeatability, largest_error": "% of the load",
        },
        "degree_choice": asdict(found.choice) if found.choice else None,
        "load_at": calibration.load_at,
        "cells": [asdict(gain) for gain in found.gains],
        "reversed": found.reversed_cells,
        "weights": quality.weights,
        "made_on": calibration.made_on,
        "expires_on": calibration.expires_on or None,
        "temperature_c": calibration.temperature_c,
        "rig_build": calibration.rig_build or None,
        "fingerprint": calibration.fingerprint,
        "points": [asdict(point) for point in table.points],
    }


def _show(table: "PointsTable", found: "Calibrated", inverses: list["Inverse"]) -> None:
    from rich.console import Console
    from rich.markup import escape

    from tui.calibration_page import points_lines, technical_lines
    from tui.output import rows_of

    console = Console(highlight=False, soft_wrap=True)

    def show(lines: Iterable[str]) -> None:
        for line in lines:
            for row in rows_of(line, console.width):
                console.print(escape(row))

    console.print("[bold]Points[/]")
    show(points_lines(table, found, console.width))
    console.print("\n[bold]What was fitted, and what it is good for[/]")
    show(found.calibration.statement.split("\n"))
    if inverses:
        console.print("\n[bold]Loads behind the responses given[/]")
        show(
            f"  {each.response:g} counts: {each.load:.2f} N ({each.low:.2f} to {each.high:.2f} N, "
            "95 %)"
            for each in inverses
        )
    console.print("\n[bold]The figures behind it[/]")
    show(technical_lines(found))
