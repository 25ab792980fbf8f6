"""``pullstand demo``: a simulated rig on a real serial port, and everything else as in life."""

import argparse
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from daq.faults import InputFault

if TYPE_CHECKING:
    from contextlib import AbstractContextManager

    from daq.acquisition import Acquisition
    from simulators.serving import ServedBoard
    from tui.around import Crank
    from tui.key_table import At
    from tui.pace import Wanted

SCENARIO = "hardwood-withdrawal"
HEADLESS_PULLS = 2
HEADLESS_SPEED = 20.0
CONSOLE_PULLS = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what to simulate and where to keep it."""
    parser.add_argument("--headless", action="store_true", help="two pulls, reduced and printed")
    parser.add_argument(
        "--practice", action="store_true", help="crank the simulated rig yourself, with keys"
    )
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the simulation")
    parser.add_argument(
        "--out", type=Path, default=Path("demo-pulls"), metavar="DIR", help="folder for recordings"
    )
    parser.add_argument("--scenario", default=SCENARIO, help="what to pull (see simulate)")
    parser.add_argument(
        "--speed", type=float, metavar="X", help="times faster (default 1; headless 20)"
    )
    parser.add_argument(
        "--unit", choices=("N", "kN", "kgf", "lbf"), help="of forces (default: the settings')"
    )


def run(args: argparse.Namespace) -> int:
    """Start the board, run the session on it, print what came of it."""
    from simulators.scenario import ScenarioError

    try:
        if args.headless or args.json:
            return _headless(args)
        return _practice(args) if args.practice else _console(args)
    except ScenarioError as error:
        raise InputFault(f"the simulated rig: {error}") from None


def demo_rig_file() -> Path:
    """Return the rig file of the invented rig."""
    return Path(str(resources.files("simulators") / "rigs" / "ossel-brook-b4.toml"))


def _headless(args: argparse.Namespace) -> int:
    from analysis.campaign import load_results
    from tui.headless import run_headless
    from tui.output import print_json, say
    from tui.result_document import result_document
    from tui.results_page import print_results
    from tui.settings import chosen_unit

    with _board(args, HEADLESS_PULLS, HEADLESS_SPEED) as board:
        document, fault = run_headless(_session(args, board.port), HEADLESS_PULLS, None)
        truth = board.truth
    results = load_results([Path(file) for file in document["recordings"]])
    document |= {"pulls": [result_document(result) for result in results], "truth": truth["pulls"]}
    if args.json:
        print_json(document)
    else:
        print_results(results, args.unit or chosen_unit())
    if fault is not None:
        say(f"pullstand: {fault}")
        return fault.exit_code
    return 0


def _console(args: argparse.Namespace) -> int:
    from tui.key_table import At

    with _board(args, CONSOLE_PULLS, 1.0) as board:
        return _on_screen(args, board.port, At.RIG, None)


def _practice(args: argparse.Namespace) -> int:
    """Let a person crank: the zero is theirs to take, too."""
    from simulators.practice import serve_practice
    from tui.key_table import At

    with serve_practice(args.scenario, args.seed) as rig:
        return _on_screen(args, rig.port, At.PRACTICE, rig)


def _on_screen(args: argparse.Namespace, port: str, at: "At", crank: "Crank | None") -> int:
    from tui.around import Around
    from tui.console import run_console
    from tui.live_session import usable_rig
    from tui.screens.link_page import LinkPlace

    rig = usable_rig(demo_rig_file())
    cells = tuple(cell.field for cell in rig.cells)
    session = _session(args, port, auto_zero=crank is None)
    link = LinkPlace(None, rig.link, cells, port)
    around = Around(at=at, rig=rig, folder=args.out, link=link, crank=crank)
    return run_console(session, unit=args.unit, wanted=_wanted(args.scenario), around=around)


def _wanted(scenario: str) -> "Wanted":
    """Return what the crank is judged by: what such a specimen comes to, or the stop."""
    from simulators.scenario import load_scenario
    from tui.live_session import usable_rig
    from tui.pace import wanted_on

    rig, strength_n = usable_rig(demo_rig_file()), load_scenario(scenario).specimen.strength_n
    return wanted_on(rig, min((strength_n.low + strength_n.high) / 2, rig.stop.stop_n))


def _board(
    args: argparse.Namespace, pulls: int, speed: float
) -> "AbstractContextManager[ServedBoard]":
    """Return a simulated board, served as a context. Raises ScenarioError for a wrong order."""
    from simulators.serving import BoardOrder, serve

    speed = speed if args.speed is None else args.speed
    return serve(BoardOrder(args.scenario, seed=args.seed, pulls=pulls, speed=speed))


def _session(args: argparse.Namespace, port: str, *, auto_zero: bool = True) -> "Acquisition":
    """Return a started session on the simulated board."""
    from daq.session_settings import SessionSettings
    from tui.live_session import open_session, usable_rig

    settings = SessionSettings(
        specimen={"label": "demo", "species": "European ash", "data": "invented, simulated"},
        auto_zero=auto_zero,
    )
    session = open_session(usable_rig(demo_rig_file()), port, args.out, settings)
    session.start()
    return session
