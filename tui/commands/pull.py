"""``pullstand pull``: watch and record pulls, on the console or headless."""

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from daq.acquisition import Acquisition
    from daq.rig.rig import Rig
    from daq.session_settings import SessionSettings
    from tui.plan_following import PlanFollower


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
        "--plan",
        type=Path,
        metavar="FOLDER",
        help="take the specimens from a plan, as far as DIR does not hold them yet; what "
        "--specimen says otherwise is recorded there as a departure",
    )
    parser.add_argument(
        "--headless",
        action="store_true",
        help="no screen: zero by itself when slack and quiet, record, print what came of it",
    )
    parser.add_argument("--pulls", type=int, metavar="N", help="headless: end after N pulls")
    parser.add_argument("--seconds", type=float, metavar="S", help="headless: end after S seconds")
    parser.add_argument(
        "--expect",
        metavar="FORCE",
        help='maximum expected, such as "4.5 kN", for the pace (default: the plan\'s)',
    )
    parser.add_argument(
        "--unit", choices=("N", "kN", "kgf", "lbf"), help="on the screen (default: the settings')"
    )


def run(args: argparse.Namespace) -> int:
    """Open the session and hand it to the console, or wait headless."""
    from tui.live_session import usable_rig
    from tui.output import say

    args.headless |= args.json
    rig = usable_rig(args.rig)
    _tell_age(rig)
    settings, follower = _settings(args)
    try:
        if args.headless:
            session = _opened(args, rig, args.port, settings, follower)
            return _headless(args, session, len(settings.to_come))
        return _console(args, rig, settings, follower)
    finally:
        for complaint in follower.complaints if follower else ():
            say(f"pullstand: departure not recorded: {complaint}")


def _tell_age(rig: "Rig") -> None:
    """Say so where the calibration has run out; what is pulled with it carries a flag."""
    from datetime import date

    from daq.force.calibration import Calibration
    from tui.output import say

    calibration, today = Calibration.from_rig(rig), date.today()
    if calibration.expired(today):
        say(f"pullstand: calibration {calibration.fingerprint}: {calibration.age_words(today)}")


def _opened(
    args: argparse.Namespace,
    rig: "Rig",
    port: str | None,
    settings: "SessionSettings",
    follower: "PlanFollower | None",
) -> "Acquisition":
    """Return a started session. Raises DeviceFault, InputFault."""
    from tui.live_session import open_session

    session = open_session(
        rig,
        port,
        args.out,
        settings,
        reconnect=not args.headless,
        after_saved=follower and follower.pulled,
    )
    session.start()
    return session


def _console(
    args: argparse.Namespace,
    rig: "Rig",
    settings: "SessionSettings",
    follower: "PlanFollower | None",
) -> int:
    """Run the console, also before there is a board: its link screen finds one."""
    from tui.around import Around
    from tui.console import run_console
    from tui.live_session import usable_rig
    from tui.pace import read_expected, wanted_on
    from tui.reopening import ReopeningSession
    from tui.screens.link_page import LinkPlace

    expected_n = read_expected(args.expect) or (follower.expected_n if follower else None)
    session = ReopeningSession(
        rig,
        lambda port: _opened(args, usable_rig(args.rig), port, settings, follower),
        args.port,
    )
    own = (args.port or rig.link.port or "") if session.has_board else ""
    cells = tuple(cell.field for cell in rig.cells)
    around = Around(
        rig=rig,
        folder=args.out,
        plan=follower and follower.plan,
        link=LinkPlace(args.rig, rig.link, cells, own, session.reopen),
    )
    return run_console(session, unit=args.unit, wanted=wanted_on(rig, expected_n), around=around)


def _settings(args: argparse.Namespace) -> "tuple[SessionSettings, PlanFollower | None]":
    """Return what is on the rig and to come, and who follows the plan (None without one)."""
    from daq.session_settings import SessionSettings
    from tui.live_session import board_before, parse_specimen

    said = parse_specimen(args.specimen)
    before = board_before(args.out)
    if args.plan is None:
        return SessionSettings(said, auto_zero=args.headless, board_before=before), None
    from analysis.plan_reading import read_plan
    from tui.plan_following import PlanFollower, labels_done, specimens_to_come

    plan, done = read_plan(args.plan), labels_done(args.out)
    to_come = specimens_to_come(plan, done, said)
    settings = SessionSettings(to_come[0], to_come, auto_zero=args.headless, board_before=before)
    reason = f"said at the start: {' '.join(args.specimen)}" if said else ""
    return settings, PlanFollower(plan, args.plan, done, reason)


def _headless(args: argparse.Namespace, session: "Acquisition", planned: int) -> int:
    """Run without a screen: N pulls, S seconds, or to the end of the plan."""
    from tui.headless import run_headless
    from tui.output import print_json, say

    pulls = args.pulls
    if pulls is None and args.seconds is None and planned:
        pulls = planned
    if planned and pulls is not None and pulls > planned:
        say(f"The plan has {planned} left: pulls after that carry no label.")
    document, fault = run_headless(session, pulls, args.seconds)
    if args.json:
        print_json(document)
    else:
        for path in document["recordings"]:
            print(path)  # noqa: T201
        _tell(session, args.unit or "kN")
    if fault is not None:
        say(f"pullstand: {fault}")
        return fault.exit_code
    return 0


def _tell(session: "Acquisition", unit: str) -> None:
    """Say what came of each pull; the recordings themselves are the result."""
    from daq.live_reading import Phase
    from daq.units import format_force
    from tui.output import say

    ends = {Phase.PARTED: "parted", Phase.EASED: "eased whole"}
    for path, pull in zip(session.saved, session.summaries, strict=False):
        peak = pull.peak.force_n
        words = "force unknown" if math.isnan(peak) else f"maximum {format_force(peak, unit)}"
        say(f"{path.name}: {words}, {ends.get(pull.outcome, 'cut short')}")
    if not session.saved:
        say(
            "No pull was recorded: no force rose at the specimen. If the rig was loaded, look "
            "whether each cell reads up under load (sign in the rig file)."
        )
