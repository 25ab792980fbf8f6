"""``pullstand reduce``: recordings to results."""

import argparse
from dataclasses import asdict
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare paths and filters."""
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="recording or folder")
    parser.add_argument(
        "--where", action="append", default=[], metavar="KEY=VALUE", help="only these (repeatable)"
    )


def run(args: argparse.Namespace) -> int:
    """Reduce and print."""
    from analysis.campaign import load_results, parse_where
    from tui.output import print_json
    from tui.results_page import print_results

    results = load_results(args.paths, parse_where(args.where))
    if args.json:
        print_json([result_document(result) for result in results])
    else:
        print_results(results)
    return 0


def result_document(result: object) -> dict[str, object]:
    """Return a PullResult as the JSON contract names its fields."""
    document = asdict(result)  # type: ignore[call-overload]
    extra = document.pop("extra")
    return document | extra
