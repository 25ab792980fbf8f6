"""Results of pulls for a person, at 80 columns: what, how much, how sure, and what to look at."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from analysis.pull_result import PullResult
from daq.units import force_in
from tui.result_document import figure, result_document

CHAINS_UP_TO = 12  # pulls: more would bury the table
LABEL = 16
BAR = 20
NAME = 17
HEAD = f"{'specimen':<{LABEL}} {'kind':<8} {'maximum':>8} {'+-U95':>6} {'time':>6} {'yield':>6} "
#: Decimals of forces, and of parts of an uncertainty.
DECIMALS = {"N": (0, 2), "kN": (3, 4), "kgf": (1, 2), "lbf": (0, 2)}
EIGHTHS = " ▏▎▍▌▋▊▉"


def print_results(results: Sequence[PullResult], unit: str) -> None:
    """Print results as a table, with the chain of each maximum while they are few."""
    print_documents([result_document(result) for result in results], unit)


def print_documents(documents: Sequence[Mapping[str, Any]], unit: str) -> None:
    """Print documents of results: a line each, and one below it with the mode and what to see.

    ``unit`` is the unit of the forces, one of DECIMALS.
    """
    console = Console(highlight=False)
    for text in page(documents, unit):
        console.print(text)


def page(documents: Sequence[Mapping[str, Any]], unit: str) -> Iterator[Text | Padding]:
    """Return the lines; forces at the specimen, U95 about the maximum, time to the maximum."""
    yield Text("Pulls, forces at the specimen", style="bold")
    yield Text(f"{HEAD}{'cracks':>6}")
    yield Text(f"{'':<{LABEL}} {'':<8} {unit:>8} {unit:>6} {'s':>6} {unit:>6}", style="dim")
    for document in documents:
        yield Text(_figures(document, unit))
        yield _below(_words(document))
        if len(documents) <= CHAINS_UP_TO and document.get("chain"):
            yield _below(document["chain"])
        if document.get("budget"):
            yield from budget_lines(document["budget"], unit)


def budget_lines(budget: Mapping[str, Any], unit: str) -> Iterator[Text | Padding]:
    """Return the contributions to an uncertainty, largest first, as table and bars."""
    yield Text(f"  {'contribution':<{NAME}} {f'u, {unit}':>7} {'share':>6}", style="bold")
    for each in budget["contributions"]:
        share = float(each["share"])
        name = each["name"].replace("_", " ")
        size = _part(each["u_n"], unit)
        yield Text(f"  {name:<{NAME}} {size:>7} {100 * share:>4.0f} % {bar(share)}")
        if each["words"]:
            yield _below(each["words"], 4)
    yield Text(
        f"  u = {_part(budget['u_n'], unit)} {unit}, k = {budget['k']:.2f}, expected bias "
        f"{_part(budget['bias_n'], unit, '+')} {unit}, U95 = {force(budget['U95_n'], unit)} {unit}"
    )


def bar(share: float) -> str:
    """Return a bar of BAR places for a share from 0 to 1."""
    eighths = round(8 * BAR * min(max(share, 0.0), 1.0))
    return ("█" * (eighths // 8) + EIGHTHS[eighths % 8]).rstrip()


def _below(words: str, indent: int = 2) -> Padding:
    return Padding(Text(words, style="dim"), (0, 0, 0, indent), expand=False)


def _figures(document: Mapping[str, Any], unit: str) -> str:
    maximum, u95, at_yield = (
        force(figure(document, key), unit)
        for key in ("max_force_n", "U95_max_force_n", "yield_force_n")
    )
    time_s = figure(document, "time_to_max_s")
    return (
        f"{_label(document):<{LABEL}} {document['kind']:<8} {maximum:>8} {u95:>6} "
        f"{'-' if math.isnan(time_s) else f'{time_s:.1f}':>6} {at_yield:>6} "
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


def force(force_n: float, unit: str, sign: str = "") -> str:
    """Return a force as a table of results shows it; a dash for NaN."""
    if math.isnan(force_n):
        return "-"
    return f"{force_in(force_n, unit):{sign}.{DECIMALS[unit][0]}f}"


def _part(force_n: float, unit: str, sign: str = "") -> str:
    return f"{force_in(force_n, unit):{sign}.{DECIMALS[unit][1]}f}"
