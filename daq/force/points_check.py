"""Points that cannot make a calibration: found before anything is fitted, each with its line."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from daq.faults import InputFault, Problem
from daq.force.calibration import Point
from daq.force.points_file import PointsTable

#: More than this on a shop rig is a column of counts under a heading of loads.
HEAVIEST_N = 200_000.0


def refuse_unusable(table: PointsTable) -> tuple[Point, ...]:
    """Return the points that count. Raises InputFault naming line and column of what is wrong."""
    valid = tuple(point for point in table.points if not point.void)
    problems = [*_too_few(table, valid)]
    if not problems:
        problems = [*_swapped(table, valid), *_dead(table, valid), *_mismatched(table, valid)]
    if problems:
        raise InputFault(problems)
    return valid


def _too_few(table: PointsTable, valid: tuple[Point, ...]) -> Iterator[Problem]:
    column, last = table.load_column, table.points[-1].line if table.points else None
    loads = {point.load_n for point in valid}
    if len(valid) < 3:
        yield table.problem(
            last, column, f"only {len(valid)} points count: at least three are needed"
        )
    elif len(loads) == 1:
        yield table.problem(last, column, f"all loads are equal ({valid[-1].typed})")
    elif len(loads - {0.0}) < 2:
        yield table.problem(
            last, column, "one weight only: a line through one weight cannot show its own error, "
            "put on at least two different ones"
        )  # fmt: skip


def _swapped(table: PointsTable, valid: tuple[Point, ...]) -> Iterator[Problem]:
    """Weights repeat to the digit and readings do not; and nobody lifts 20 tonnes on."""
    loads = [point.load_n for point in valid]
    responses = [point.responses[0] for point in valid]
    repeats = len(set(loads)) == len(loads) and len(set(responses)) <= 2 * len(responses) // 3
    round_ones = all(response >= 0.0 and response % 0.5 == 0.0 for response in responses)
    heavy = table.load_column != "load_n" and max(loads) > HEAVIEST_N
    if len(valid) >= 4 and (repeats or (heavy and round_ones and max(responses) < max(loads) / 10)):
        yield table.problem(
            valid[0].line,
            table.load_column,
            "load and response look swapped: the responses repeat like weights and the loads "
            "scatter like readings",
        )


def _dead(table: PointsTable, valid: tuple[Point, ...]) -> Iterator[Problem]:
    for i, cell in enumerate(table.cells or ("",)):
        column = f"response_{cell}" if cell else "response"
        if np.ptp([point.responses[i] for point in valid]) == 0.0:
            yield table.problem(
                valid[-1].line, column, "never changes under the weights: look at plug and wiring"
            )


def _mismatched(table: PointsTable, valid: tuple[Point, ...]) -> Iterator[Problem]:
    ends = {min(p.load_n for p in valid), max(p.load_n for p in valid)}  # where a run may begin
    up = {point.load_n for point in table.points if point.direction == "up"}
    for before, after in pairwise(valid):
        if (before.series, before.direction) != (after.series, after.direction):
            continue
        rose = after.load_n - before.load_n
        wrong = {"up": rose < 0.0, "down": rose > 0.0}.get(after.direction, False)
        if wrong and after.load_n not in ends:
            yield table.problem(
                after.line,
                "direction",
                f"says {after.direction}, but {after.typed} follows {before.typed}",
            )
    for point in valid:
        if point.direction == "down" and up and point.load_n not in up:
            yield table.problem(
                point.line,
                table.load_column,
                f"{point.typed} comes down but never went up: one of the two is mistyped",
            )
