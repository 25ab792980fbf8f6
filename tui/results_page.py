"""Results of pulls for a person: what, how much, how sure, and the whole chain of each number."""

import math
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from analysis.pull_result import PullResult


def print_results(results: Sequence[PullResult]) -> None:
    """Print a table of results, then the chain of each maximum."""
    console = Console()
    console.print(results_table(results))
    for result in results:
        if result.chain:
            console.print(Text(f"{_label(result)}: {result.chain}"))


def results_table(results: Sequence[PullResult]) -> Table:
    """Return the table: one row a pull, forces at the specimen."""
    table = Table(title="Pulls, forces at the specimen")
    table.add_column("specimen")
    table.add_column("kind")
    table.add_column("mode")
    table.add_column("maximum N", justify="right")
    table.add_column("U95 N", justify="right")
    table.add_column("time to max s", justify="right")
    table.add_column("yield N", justify="right")
    table.add_column("cracks", justify="right")
    table.add_column("look at")
    for result in results:
        table.add_row(
            Text(_label(result)),
            result.kind.value,
            Text(result.mode or "not judged"),
            _number(result.max_force_n, 0),
            _number(result.U95_max_force_n, 0),
            _number(result.time_to_max_s, 1),
            _number(result.yield_force_n, 0),
            str(result.cracks),
            Text("; ".join(result.flags)),
        )
    return table


def _label(result: PullResult) -> str:
    return str(result.specimen.get("label") or result.file.stem)


def _number(value: float, digits: int) -> str:
    return "-" if math.isnan(value) else f"{value:.{digits}f}"
