"""``pullstand reduce``: recordings to results."""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tui.result_document import Document, KeptResults

SHOW_FROM = 60  # files: fewer are done before anybody wonders
SHOW_EVERY = 50


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare paths, filters and what else to show or do."""
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="recording or folder")
    parser.add_argument(
        "--where", action="append", default=[], metavar="KEY=VALUE", help="only these (repeatable)"
    )
    parser.add_argument(
        "--budget", action="store_true", help="what the uncertainty of each maximum is made of"
    )
    parser.add_argument(
        "-o",
        "--output",
        type=Path,
        metavar="FILE",
        help="keep results, a JSON line each, as they come; the same command goes on after them",
    )
    parser.add_argument(
        "--move-mark",
        metavar="yield=SECONDS",
        help="put a mark of one recording elsewhere (seconds since the pull began); both are kept",
    )
    parser.add_argument("--reason", default="", metavar="TEXT", help="why the mark was moved")


def run(args: argparse.Namespace) -> int:
    """Move a mark if asked; reduce and print."""
    from analysis.campaign import no_match, parse_where, recording_files
    from tui.output import print_json
    from tui.result_document import KeptResults
    from tui.results_page import print_documents

    if args.move_mark:
        _move(args)
    files = tuple(recording_files(args.paths))
    kept = KeptResults(args.output) if args.output else None
    faults: list[int] = []
    where = parse_where(args.where)
    documents = list(_documents(files, where, kept, faults))
    if where and not documents and not faults:
        raise no_match(where)
    if args.budget:
        for document in documents:
            document["budget"] = _budget(Path(document["file"]))
    if args.json:
        print_json(documents)
    else:
        from tui.settings import chosen_unit

        print_documents(documents, chosen_unit())
    return max(faults, default=0)


def _move(args: argparse.Namespace) -> None:
    from analysis.moved_mark import move_mark
    from daq.faults import InputFault

    mark, _, text = args.move_mark.partition("=")
    if len(args.paths) != 1 or not args.paths[0].is_file():
        raise InputFault("--move-mark: name one recording, whose mark it is.")
    try:
        seconds = float(text)
    except ValueError:
        raise InputFault(
            f"--move-mark {args.move_mark!r}: write yield=SECONDS, such as yield=41.5."
        ) from None
    move_mark(args.paths[0], mark, seconds, args.reason)


def _documents(
    files: tuple[Path, ...],
    where: dict[str, str],
    kept: "KeptResults | None",
    faults: list[int],
) -> "Iterator[Document]":
    """Yield documents in the order of the files: kept ones as they are, the others made now.

    Files that cannot be read are told on stderr, and their exit codes put into ``faults``.
    """
    from analysis.campaign import matches, reduce_many
    from tui.output import say
    from tui.result_document import result_document

    known = {file: document for file in files if kept and (document := kept.of(file))}
    if known:
        say(f"{len(known)} of {len(files)} recordings are reduced already.")
    outcomes = reduce_many([file for file in files if file not in known], where)
    for number, file in enumerate(files, start=1):
        _show(number, len(files))
        if file in known:
            if matches(known[file]["specimen"], where):
                yield known[file]
            continue
        outcome = next(outcomes)
        if outcome.fault:
            faults.append(outcome.exit_code)
            say(f"pullstand: {outcome.fault}")
        elif outcome.result is not None:
            document = result_document(outcome.result)
            if kept is not None:
                kept.add(file, document)
            yield document


def _show(number: int, total: int) -> None:
    if total >= SHOW_FROM and (number % SHOW_EVERY == 0 or number == total):
        end = "\r" if sys.stderr.isatty() and number < total else "\n"
        print(f"reduced {number} of {total}", end=end, file=sys.stderr, flush=True)  # noqa: T201


def _budget(file: Path) -> "Document | None":
    from analysis.recorded_budget import budget_of
    from tui.output import plain

    budget = budget_of(file)
    if budget is None:
        return None
    document: Document = plain(
        {
            "u_n": budget.u_n,
            "U95_n": budget.U95_n,
            "k": budget.k,
            "dof": budget.dof,
            "bias_n": budget.bias_n,
            "contributions": [
                {"name": c.quantity.name, "u_n": c.u, "share": c.share, "words": c.quantity.words}
                for c in budget.contributions
            ],
        }
    )
    return document
