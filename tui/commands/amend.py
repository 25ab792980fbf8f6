"""``pullstand amend``: add a correction beside the old and reduce all pulls again."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.amendment import Amended, Correction, Stop
    from analysis.conclusions import Conclusion

EXAMPLES = """\
examples:
  pullstand amend pulls --masses x1.036 --reason "the 5 kg plates weigh 5.18 kg"
  pullstand amend pulls --calibration new.json --reason "weights put on again"
  pullstand amend pulls --ratio 2.004 --reason "arms measured with the bucket"

Every pull keeps what it was made with; the newest correction holds. The same
command again passes over pulls that carry the correction already; another
reason is another correction and goes on top.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare paths, what is corrected, and why."""
    parser.epilog = EXAMPLES
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="recording or folder")
    parser.add_argument("--reason", required=True, metavar="TEXT", help="why; it is kept")
    parser.add_argument(
        "--calibration", type=Path, metavar="FILE", help="what `pullstand calibrate -o` wrote"
    )
    parser.add_argument(
        "--masses",
        metavar="xFACTOR",
        help="every weight of the calibration was so many times heavier",
    )
    parser.add_argument(
        "--ratio", type=float, metavar="R", help="of the lever, as it truly was: 1.997"
    )
    parser.add_argument("--note", default="", metavar="TEXT", help="a remark added to each pull")


def run(args: argparse.Namespace) -> int:
    """Amend all, or nothing where something is wrong; list old and new."""
    from analysis.amendment import plan_amendment, stops_of, write_amendment
    from analysis.conclusions import conclusions
    from tui.output import print_json

    correction = _correction(args)
    amended = plan_amendment(args.paths, correction)
    write_amendment(amended)
    told = conclusions([one.before for one in amended], [one.after for one in amended])
    stops = stops_of(amended)
    if args.json:
        print_json(_document(correction, amended, told, stops))
    else:
        _show(correction, amended, told, stops)
    return 0


def _correction(args: argparse.Namespace) -> "Correction":
    from analysis.amendment import Correction
    from daq.faults import InputFault
    from daq.force.calibration_text import read_calibration

    if args.calibration is not None and args.masses is not None:
        raise InputFault("--calibration and --masses: give one; a new calibration has its own")
    return Correction(
        reason=args.reason,
        calibration=None if args.calibration is None else read_calibration(args.calibration),
        masses=None if args.masses is None else _factor(args.masses),
        ratio=args.ratio,
        note=args.note,
    )


def _factor(text: str) -> float:
    from daq.faults import InputFault

    try:
        if text.startswith("x"):
            return float(text[1:])
    except ValueError:
        pass
    raise InputFault(f'--masses {text}: write how many times heavier, such as "x1.036"')


def _document(
    correction: "Correction",
    amended: "Sequence[Amended]",
    told: "Sequence[Conclusion]",
    stops: "Sequence[Stop]",
) -> dict[str, Any]:
    return {
        "amended": correction.words,
        "reason": correction.reason,
        "changes": [
            {
                "file": one.file,
                "label": one.before.specimen.get("label", ""),
                "old_max_force_n": one.before.max_force_n,
                "new_max_force_n": one.after.max_force_n,
                "old_kind": one.before.kind,
                "new_kind": one.after.kind,
            }
            for one in amended
            if one.change is not None
        ],
        "left": [{"file": one.file, "why": one.left} for one in amended if one.change is None],
        "conclusions": [
            {
                "series": each.series,
                "by": each.by,
                "a": each.a,
                "b": each.b,
                "old_verdict": each.before,
                "new_verdict": each.after,
                "old_difference_n": each.before_n,
                "new_difference_n": each.after_n,
                "changed": each.changed,
            }
            for each in told
        ],
        "stops": [
            {
                "build": stop.build,
                "stop_n": stop.stop_n,
                "true_stop_n": stop.true_stop_n,
                "weakest": stop.weakest,
                "limit_n": stop.limit_n,
                "stop_allowed_n": stop.stop_allowed_n,
                "largest_n": stop.largest_n,
                "exceeded": stop.exceeded,
            }
            for stop in stops
        ],
    }


def _show(
    correction: "Correction",
    amended: "Sequence[Amended]",
    told: "Sequence[Conclusion]",
    stops: "Sequence[Stop]",
) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from analysis.groups import level_words
    from tui.results_page import force
    from tui.settings import chosen_unit

    unit = chosen_unit()
    console = Console(highlight=False)
    console.print(Text(f"Amended: {correction.words}. Forces at the specimen", style="bold"))
    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("specimen")
    table.add_column("file")
    for name in (f"old {unit}", f"new {unit}", "new / old"):
        table.add_column(name, justify="right")
    for one in amended:
        old, new = one.before.max_force_n, one.after.max_force_n
        label, file = Text(str(one.before.specimen.get("label", ""))), Text(one.file.name)
        if one.change is None:
            table.add_row(label, file, force(old, unit), Text(f"left: {one.left}"), "")
        else:
            table.add_row(label, file, force(old, unit), force(new, unit), f"{new / old:.4f}")
    console.print(table)
    for each in told:
        verdict = (
            f"CHANGED from {each.before} to {each.after}" if each.changed else f"still {each.after}"
        )
        a, b = level_words(each.a), level_words(each.b)
        series = f"{each.series}, " if each.series else ""
        words = f"{series}{each.by} {a} against {b}: {verdict}"
        was_now = f"{force(each.before_n, unit, '+')} -> {force(each.after_n, unit, '+')} {unit}"
        console.print(Text(f"{words} ({was_now})"))
    for stop in stops:
        console.print(Text(stop.words))
