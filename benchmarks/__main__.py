"""``python -m benchmarks [NAME ...] [--write FILE]``: every benchmark, as one table of ratios."""

import argparse
import importlib
import platform
from datetime import date
from pathlib import Path

from benchmarks.table import Row, as_text

HERE = Path(__file__).parent
NOT_BENCHMARKS = {"__init__", "__main__", "table"}


def names() -> list[str]:
    """Return the modules here that have a ``run``; children of benchmarks end in ``_child``."""
    stems = sorted(path.stem for path in HERE.glob("*.py"))
    return [s for s in stems if s not in NOT_BENCHMARKS and not s.endswith("_child")]


def main() -> None:
    """Run what was asked for and print, or write, one table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("name", nargs="*", help=f"of {', '.join(names())} (default: all)")
    parser.add_argument("--write", type=Path, help="write the table into this Markdown file too")
    args = parser.parse_args()
    rows: list[Row] = []
    for name in args.name or names():
        print(f"{name} ...", flush=True)
        rows += importlib.import_module(f"benchmarks.{name}").run()
    machine = f"{platform.machine()}, {platform.system()}, Python {platform.python_version()}"
    print(f"\n{date.today()}, {machine}\n\n{as_text(rows)}")
    if args.write:
        args.write.write_text(as_markdown(rows, machine), "utf-8")


def as_markdown(rows: list[Row], machine: str) -> str:
    """Return the table as the documentation shows it."""
    head = f"# Benchmarks\n\n`make bench` on {date.today()}, {machine}, 2 cores.\n"
    lines = ["", "| what | ours | other | ratio | goal | note |", "|---|---|---|---|---|---|"]
    for row in rows:
        ratio = "" if row.ratio is None else f"{row.ratio:.2f}"
        cells = (row.name, row.ours, row.other, ratio, row.goal, row.note)
        lines.append(f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |")
    return head + "\n".join(lines) + "\n"


main()
