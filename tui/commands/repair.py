"""``pullstand repair``: what cut-short or damaged recordings still hold."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.output import print_json, say, show

if TYPE_CHECKING:
    from daq.record.repair import RepairReport


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the command."""
    parser.add_argument(
        "file", type=Path, metavar="PATH", help="the recording to look at, or a folder of them"
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="COPY",
        help="write what was recovered as a sound file, marked as cut short (never over a file); "
        "of a folder: a new folder, for copies of those that are not whole",
    )


def run(args: argparse.Namespace) -> int:
    """Look; write copies if asked. Returns 0, or 5 where nothing could be recovered of a file."""
    from daq.faults import RecordingFault
    from daq.record.repair import examine

    if args.file.is_dir():
        reports, copies = _folder(args.file, args.output)
    else:
        reports, copies = [examine(args.file)], {}
        if args.output is not None:
            copies = {reports[0].path: _copy(reports[0], args.output)}
    documents = [_document(report, copies.get(report.path)) for report in reports]
    if args.json:
        print_json(documents if args.file.is_dir() else documents[0])
    elif args.file.is_dir():
        _show_folder(reports)
    else:
        _show(reports[0])
    lost = any(report.recording is None for report in reports)
    return RecordingFault.exit_code if lost else 0


def _folder(folder: Path, out: Path | None) -> "tuple[list[RepairReport], dict[Path, Path]]":
    """Look at every recording of a folder; copy what is not whole into a new one, if asked."""
    from analysis.campaign import recording_files
    from daq.faults import InputFault

    files = list(recording_files([folder]))
    if out is not None:
        try:
            out.mkdir()
        except FileExistsError:
            raise InputFault(f"{out}: is there already: name a new folder for --output.") from None
        except OSError as error:
            raise InputFault(f"{out}: cannot be made: {error.strerror}.") from None
    reports = [_looked_at(file) for file in files]
    if out is None:
        return reports, {}
    broken = [report for report in reports if report.state != "whole" and report.recording]
    return reports, {report.path: _copy(report, out / report.path.name) for report in broken}


def _looked_at(file: Path) -> "RepairReport":
    """Return what a file holds; one that is no file at all does not end the look at the others."""
    from daq.faults import RecordingFault
    from daq.record.repair import RepairReport, examine

    try:
        return examine(file)
    except RecordingFault as fault:
        return RepairReport(file, "unreadable", 0, 0, None, (str(fault),), None)


def _copy(report: "RepairReport", place: Path) -> Path:
    from daq.record.repair import write_copy

    write_copy(report, place)
    say(f"written: {place}")
    return place


def _document(report: "RepairReport", copy: Path | None) -> dict[str, Any]:
    return {
        "file": str(report.path),
        "state": report.state,
        "recovered_samples": report.recovered_samples,
        "lost_samples": report.lost_samples,
        "lost_estimate_s": report.lost_estimate_s,
        "findings": report.findings,
        "copy": copy,
    }


def _show(report: "RepairReport") -> None:
    show(words(report.state, report.recovered_samples, report.lost_estimate_s))
    show("\n".join(report.findings))


def _show_folder(reports: "Sequence[RepairReport]") -> None:
    """A line for each recording, what was found below those that are not whole, and the sum."""
    from daq.record.inert_text import inert

    for report in reports:
        told = words(report.state, report.recovered_samples, report.lost_estimate_s)
        show(f"{inert(report.path.name)}: {told}")
        if report.state != "whole":
            show("\n".join(f"  {finding}" for finding in report.findings))
    whole = sum(report.state == "whole" for report in reports)
    show(f"{whole} of {len(reports)} recordings are whole.")


def words(state: str, recovered: int, lost_s: float | None) -> str:
    """Return the finding in one line."""
    lost = "what was lost is unknown"
    if lost_s is not None:
        lost = f"lost at most about {lost_s:.2f} s" if lost_s > 0.0 else "nothing lost"
    return f"{state}: {recovered} samples recovered, {lost}"
