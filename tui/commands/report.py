"""``pullstand report``: one self-contained page, plain tables, and a folder to share."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.report.answers import Wish
    from analysis.report.sections import Section
    from analysis.report.story import Story


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare paths, what is written, what is compared, and the unit."""
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="recording or folder")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="write the page, such as report.html"
    )
    parser.add_argument(
        "--csv", type=Path, metavar="FILE", help="write a table of the results, a row a pull"
    )
    parser.add_argument(
        "--folder", type=Path, metavar="DIR", help="a new folder with page, tables and recordings"
    )
    parser.add_argument(
        "--by",
        action="append",
        default=[],
        metavar="KEY",
        help="what is compared (repeatable); else as planned, or as the pulls differ",
    )
    parser.add_argument("--block", metavar="KEY", help="what pulls share, such as board")
    parser.add_argument(
        "--where", action="append", default=[], metavar="KEY=VALUE", help="only these (repeatable)"
    )
    parser.add_argument(
        "--bound", metavar="SIZE", help='largest difference that does not matter: "10 %%", "0.3 kN"'
    )
    parser.add_argument("--photos", type=Path, metavar="DIR", help="pictures to show, scaled down")
    parser.add_argument(
        "--unit",
        default="kN",
        choices=("N", "kN", "kgf", "lbf"),
        help="unit of force; kgf and lbf stand beside kN",
    )


def run(args: argparse.Namespace) -> int:
    """Read, tell, write; nothing is ever written over."""
    from analysis.campaign import parse_where
    from analysis.report.data_folder import write_folder
    from analysis.report.evidence import gather
    from analysis.report.page import page
    from analysis.report.photos import read_photos
    from analysis.report.story import find_plan, tell
    from analysis.report.tables import results_csv

    _check_places(args)
    photos = read_photos(args.photos) if args.photos else ()
    evidence = gather(args.paths, parse_where(args.where))
    story = tell(evidence, find_plan(args.paths), _wish(args))
    text = page(story, photos)
    if args.output:
        _write(args.output, text)
    if args.csv:
        _write(args.csv, results_csv(evidence.pulls))
    if args.folder:
        write_folder(args.folder, story, text, photos)
    _tell(args, story)
    return _exit_code(story)


def _check_places(args: argparse.Namespace) -> None:
    """Raise InputFault before any work where nothing may be written."""
    from daq.faults import InputFault

    places = [place for place in (args.output, args.csv, args.folder) if place]
    if not places:
        raise InputFault("Say where the report goes: -o report.html, --csv FILE or --folder DIR.")
    for place in places:
        if place.exists():
            raise InputFault(f"{place} is there already, and nothing is overwritten: name another.")
        if not place.absolute().parent.is_dir() and place is not args.folder:
            raise InputFault(f"{place}: the folder {place.parent} is not there. Make it first.")


def _wish(args: argparse.Namespace) -> "Wish":
    from analysis.report.answers import Wish
    from analysis.report.wording import ForceUnit
    from analysis.verdict import USUAL_BOUND
    from tui.commands.compare import parse_bound

    bound = parse_bound(args.bound) if args.bound else USUAL_BOUND
    return Wish(tuple(args.by), args.block, bound, ForceUnit(args.unit))


def _write(file: Path, text: str) -> None:
    from daq.faults import InputFault

    try:
        with file.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except FileExistsError:
        raise InputFault(f"{file} is there already, and nothing is overwritten.") from None
    except OSError as error:
        raise InputFault(f"{file} cannot be written: {error.strerror}.") from None


def _tell(args: argparse.Namespace, story: "Story") -> None:
    from tui.output import print_json, say

    if args.json:
        print_json(report_document(args, story))
        return
    for section in story.sections:
        for answer in section.answers:
            say(f"{section.name}: {answer.name}: {answer.headline}")
    for place in (args.output, args.csv, args.folder):
        if place:
            say(f"written: {place}")


def _exit_code(story: "Story") -> int:
    """Complain about each recording that could not be read; the report says so too."""
    from daq.faults import RecordingFault
    from tui.output import say

    for _, words in story.evidence.unreadable:
        say(f"pullstand: {words}")
    return RecordingFault.exit_code if story.evidence.unreadable else 0


def report_document(args: argparse.Namespace, story: "Story") -> dict[str, Any]:
    """Return what the report holds as JSON: where it is, and each series."""
    return {
        "report": args.output,
        "csv": args.csv,
        "folder": args.folder,
        "unit": story.unit.own,
        "pulls": len(story.evidence.pulls),
        "unreadable": [{"file": name, "why": words} for name, words in story.evidence.unreadable],
        "sections": [_section(section) for section in story.sections],
        "calibrations": [words.fingerprint for words in story.calibrations],
        "rigs": [words.title for words in story.rigs],
    }


def _section(section: "Section") -> dict[str, Any]:
    from tui.commands.compare import comparison_document
    from tui.result_document import result_document

    return {
        "series": section.name,
        "question": section.plan.question if section.plan else None,
        "comparisons": [
            {"why": answer.question.why, "headline": answer.headline}
            | comparison_document(answer.found)
            for answer in section.answers
        ],
        "pulls": [
            result_document(curve.shown.result) | {"sha256": curve.shown.sha256}
            for curve in section.curves
        ],
    }
