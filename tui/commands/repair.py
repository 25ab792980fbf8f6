"""``pullstand repair FILE``: what a cut-short or damaged recording still holds."""

import argparse
from pathlib import Path

from tui.output import print_json, say


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the arguments of the command."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the recording to look at")
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="COPY",
        help="write what was recovered as a sound file, marked as cut short (never over a file)",
    )


def run(args: argparse.Namespace) -> int:
    """Look at the file; write a copy if asked. Returns 0, or 5 where nothing could be recovered."""
    from daq.faults import RecordingFault
    from daq.record.repair import examine, write_copy

    report = examine(args.file)
    if args.output is not None:
        write_copy(report, args.output)
        say(f"written: {args.output}")
    if args.json:
        print_json(
            {
                "file": str(report.path),
                "state": report.state,
                "recovered_samples": report.recovered_samples,
                "lost_samples": report.lost_samples,
                "lost_estimate_s": report.lost_estimate_s,
                "findings": report.findings,
                "copy": args.output,
            }
        )
    else:
        print(words(report.state, report.recovered_samples, report.lost_estimate_s))  # noqa: T201
        print("\n".join(report.findings))  # noqa: T201
    return RecordingFault.exit_code if report.recording is None else 0


def words(state: str, recovered: int, lost_s: float | None) -> str:
    """Return the finding in one line."""
    lost = "what was lost is unknown" if lost_s is None else f"lost at most about {lost_s:.2f} s"
    return f"{state}: {recovered} samples recovered, {lost}"
