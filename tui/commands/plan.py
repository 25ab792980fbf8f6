"""pullstand plan: factors, replicates and boards to a shuffled list with drills and labels."""

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.campaign_plan import Design, Plan, PlannedPull

EXAMPLE = """\
example:
  pullstand plan inserts --factor "pilot=8.0 mm,8.5 mm,9.0 mm" \\
      --factor wax=dry,wax --board "A: density_kg_m3=702, moisture_pct=10.1" \\
      --board B --board C --cov "12 %" --difference "20 %" --seed 7 \\
      --fixed major_mm=10 --fixed penetration_mm=14 --expect "4.5 kN" \\
      --rig rig.toml --question "Does the pilot size matter?" \\
      --decided "differences under 10 % do not count"

Every level stands in every board; the order is shuffled inside each board.
Levels take a length with its unit, or a drill for the pilot ("No. 21",
"F drill"). The folder holds plan.toml, pulls.csv, list.txt and labels.txt.
--expect takes a force, or a kind of fastener of "pullstand predict" with its
keys.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from pathlib import Path

    add = parser.add_argument
    add("folder", metavar="NEW_FOLDER", type=Path, help="made by this command; never overwritten")
    add(
        "--factor",
        action="append",
        default=[],
        metavar="NAME=LEVEL,LEVEL",
        help="what varies (repeatable)",
    )
    add(
        "--board",
        action="append",
        default=[],
        metavar="NAME[: key=value, ...]",
        help="a board (repeatable)",
    )
    add(
        "--replicates",
        type=int,
        metavar="N",
        help="pulls of each combination in each board (default: as many as --cov and "
        "--difference ask for, else 1)",
    )
    add("--cov", metavar="PERCENT", help='expected scatter of pulls at one level, such as "12 %%"')
    add("--difference", metavar="PERCENT", help='the difference that matters, such as "15 %%"')
    add("--seed", type=int, metavar="N", help="of the shuffle (default: drawn); it is recorded")
    add(
        "--fixed",
        action="append",
        default=[],
        metavar="key=value",
        help="the same in all pulls (repeatable)",
    )
    add("--expect", default="", metavar="FORCE|KIND", help="the force to expect of each pull")
    add("--rig", type=Path, metavar="FILE", help="the rig file, for its stop")
    add("--question", default="", metavar="TEXT", help="what the pulls are to answer")
    add("--decided", default="", metavar="TEXT", help="what was decided before looking")
    parser.epilog = EXAMPLE


def run(args: argparse.Namespace) -> int:
    """Make the plan, write its folder, print the list."""
    from analysis.plan_folder import write_plan
    from tui.output import print_json, say

    plan = _plan(args)
    write_plan(args.folder, plan)
    if args.json:
        print_json(_document(plan, args.folder))
    else:
        _show(plan)
    say(f"written: {args.folder} (plan.toml, pulls.csv, list.txt, labels.txt)")
    return 0


def _plan(args: argparse.Namespace) -> "Plan":
    import math
    import secrets
    from datetime import datetime

    from analysis.campaign_plan import (
        Design,
        Plan,
        make_pulls,
        needed_per_level,
        read_board,
        read_factor,
        replicates_for,
    )
    from daq.rig.rig_file import read_rig

    factors = tuple(map(read_factor, args.factor))
    boards = tuple(map(read_board, args.board))
    needed, (cov, difference) = None, _shares(args.cov, args.difference)
    if not math.isnan(cov):
        needed = needed_per_level(cov, difference)
    replicates = args.replicates
    if replicates is None:
        replicates = replicates_for(needed or 1, factors, max(1, len(boards)))
    seed = secrets.randbelow(2**31) if args.seed is None else args.seed
    design = Design(factors, boards, replicates, seed, _fixed(args.fixed))
    rig = read_rig(args.rig) if args.rig else None
    return Plan(
        design,
        _expected(make_pulls(design), args.expect, rig),
        question=args.question,
        decided=args.decided,
        made=datetime.now().astimezone().isoformat(timespec="seconds"),
        expect=args.expect,
        rig=f"{rig.name} build {rig.build}" if rig else "",
        stop_n=rig.stop.stop_n if rig else math.nan,
        cov=cov,
        difference=difference,
        needed_per_level=needed,
    )


def _expected(pulls: "tuple[PlannedPull, ...]", text: str, rig: Any) -> "tuple[PlannedPull, ...]":
    import math

    from analysis.plan_expectation import expect, read_expectation

    if not text:
        return pulls
    expectation = read_expectation(text)
    stop_n = rig.stop.stop_n if rig else math.nan
    return tuple(expect(pull, expectation, stop_n) for pull in pulls)


def _fixed(pairs: list[str]) -> dict[str, str | float]:
    from analysis.campaign_plan import read_pair
    from daq.faults import InputFault

    fixed: dict[str, str | float] = {}
    for pair in pairs:
        values = read_pair(pair)
        for key in values:
            if key in fixed:
                raise InputFault(f"--fixed {key}: given twice")
        fixed |= values
    return fixed


def _shares(cov: str | None, difference: str | None) -> tuple[float, float]:
    import math

    from daq.faults import InputFault

    if cov is None and difference is None:
        return math.nan, math.nan
    if cov is None or difference is None:
        raise InputFault("--cov and --difference go together: scatter, and what must show over it")
    return _share("--cov", cov), _share("--difference", difference)


def _share(option: str, text: str) -> float:
    import math

    from daq.faults import InputFault

    number, percent, rest = text.strip().partition("%")
    try:
        share = float(number) / 100.0
        if percent and not rest and math.isfinite(share):
            return share
    except ValueError:
        pass
    raise InputFault(f'{option}: "{text}" is no percentage; write it with its sign, such as "12 %"')


def _document(plan: "Plan", folder: Any) -> dict[str, Any]:
    from analysis.drill_advice import nearest_drills

    pulls = []
    for pull in plan.pulls:
        pilot = pull.specimen.get("pilot_mm")
        drills = nearest_drills(pilot) if isinstance(pilot, float) else ()
        pulls.append(
            {
                **pull.specimen,
                "run": pull.run,
                "replicate": pull.replicate,
                "levels": pull.levels,
                "drills": [
                    {
                        "series": drill.series,
                        "name": drill.name,
                        "diameter_mm": drill.diameter_mm,
                        "difference_mm": drill.difference_mm,
                    }
                    for drill in drills
                ],
                "expected_n": pull.expected_n,
                "expected_of_stop": pull.expected_of_stop,
                "expected_note": pull.expected_note,
            }
        )
    return {"folder": folder, **_about(plan), "pulls": pulls}


def _about(plan: "Plan") -> dict[str, Any]:
    design: Design = plan.design
    return {
        "question": plan.question,
        "decided": plan.decided,
        "made": plan.made,
        "seed": design.seed,
        "replicates": design.replicates,
        "pulls_per_level": design.pulls_per_level,
        "needed_per_level": plan.needed_per_level,
        "boards": [board.name for board in design.boards],
        "fixed": design.fixed,
        "stop_n": plan.stop_n,
    }


def _show(plan: "Plan") -> None:
    from rich.console import Console

    from analysis.plan_sheets import printable_list

    console = Console(highlight=False, soft_wrap=True, markup=False)
    console.print(printable_list(plan), end="")
    design = plan.design
    console.print(f"\n{design.pulls_per_level} pulls at each level, all boards together.")
    if plan.needed_per_level is not None:
        console.print(
            f"At a scatter of {100 * plan.cov:g} %, a difference of {100 * plan.difference:g} % "
            f"shows in 80 of 100 such campaigns with {plan.needed_per_level} pulls at each level."
        )
        if plan.needed_per_level > design.pulls_per_level:
            console.print(
                'This plan has fewer: expect "cannot tell" for a difference of that size.'
            )
    over = [pull.label for pull in plan.pulls if pull.expected_of_stop >= 1.0]
    if over:
        console.print(f"Expected at or over the stop: {', '.join(over)}")
