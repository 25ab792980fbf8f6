"""Results of pulls for a person, at 80 columns: what, how much, how sure, and what to look at."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from analysis.pull_result import PullResult
from tui.result_document import figure, result_document

CHAINS_UP_TO = 12  # pulls: more would bury the table
LABEL = 16
BAR = 20
NAME = 17
HEAD = f"{'specimen':<{LABEL}} {'kind':<8} {'maximum':>8} {'+-U95':>6} {'time':>6} {'yield':>6} "
UNITS = f"{'':<{LABEL}} {'':<8} {'N':>8} {'N':>6} {'s':>6} {'N':>6}"
EIGHTHS = " ▏▎▍▌▋▊▉"


def print_results(results: Sequence[PullResult]) -> None:
    """Print results as a table, with the chain of each maximum while they are few."""
    print_documents([result_document(result) for result in results])


def print_documents(documents: Sequence[Mapping[str, Any]]) -> None:
    """Print documents of results: a line each, and one below it with the mode and what to see."""
    console = Console(highlight=False)
    for text in page(documents):
        console.print(text)


def page(documents: Sequence[Mapping[str, Any]]) -> Iterator[Text | Padding]:
    """Return the lines; forces at the specimen, U95 about the maximum, time to the maximum."""
    yield Text("Pulls, forces at the specimen", style="bold")
    yield Text(f"{HEAD}{'cracks':>6}")
    yield Text(UNITS, style="dim")
    for document in documents:
        yield Text(_figures(document))
        yield _below(_words(document))
        if len(documents) <= CHAINS_UP_TO and document.get("chain"):
            yield _below(document["chain"])
        if document.get("budget"):
            yield from budget_lines(document["budget"])


def budget_lines(budget: Mapping[str, Any]) -> Iterator[Text | Padding]:
    """Return the contributions to an uncertainty, largest first, as table and bars."""
    yield Text(f"  {'contribution':<{NAME}} {'u / N':>7} {'share':>6}", style="bold")
    for each in budget["contributions"]:
        share = float(each["share"])
        yield Text(
            f"  {each['name'].replace('_', ' '):<{NAME}} {each['u_n']:>7.2f} {100 * share:>4.0f} % "
            f"{bar(share)}"
        )
        if each["words"]:
            yield _below(each["words"], 4)
    yield Text(
        f"  u = {budget['u_n']:.1f} N, k = {budget['k']:.2f}, "
        f"expected bias {budget['bias_n']:+.1f} N, U95 = {budget['U95_n']:.0f} N"
    )


def bar(share: float) -> str:
    """Return a bar of BAR places for a share from 0 to 1."""
    eighths = round(8 * BAR * min(max(share, 0.0), 1.0))
    return ("█" * (eighths // 8) + EIGHTHS[eighths % 8]).rstrip()


def _below(words: str, indent: int = 2) -> Padding:
    return Padding(Text(words, style="dim"), (0, 0, 0, indent), expand=False)


def _figures(document: Mapping[str, Any]) -> str:
    return (
        f"{_label(document):<{LABEL}} {document['kind']:<8} "
        f"{_number(document, 'max_force_n', 0):>8} {_number(document, 'U95_max_force_n', 0):>6} "
        f"{_number(document, 'time_to_max_s', 1):>6} {_number(document, 'yield_force_n', 0):>6} "
        f"{document['cracks']:>6}"
    )


def _words(document: Mapping[str, Any]) -> str:
    mode = document["mode"] or "mode not judged"
    if document["mode_by"] == "proposed":
        mode += " (proposed)"
    reason = [document["reason"]] if document["reason"] else []
    return "; ".join([mode, *reason, *document["flags"]])


def _label(document: Mapping[str, Any]) -> str:
    label = str(document["specimen"].get("label") or str(document["file"]).rpartition("/")[2])
    return label if len(label) <= LABEL else f"{label[: LABEL - 1]}…"


def _number(document: Mapping[str, Any], key: str, digits: int) -> str:
    value = figure(document, key)
    return "-" if math.isnan(value) else f"{value:.{digits}f}"
