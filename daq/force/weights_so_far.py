"""A round of weights so far, as a person judges it: off a straight line, and the gap up to down."""

from dataclasses import dataclass

import numpy as np

from daq.force.guided_weights import Guided, Plateau


@dataclass(frozen=True, slots=True)
class PointSoFar:
    """One point: its reading (signed sum of counts above the first zero), and how far it is off.

    Percentages are of the heaviest reading so far; None where there is nothing to judge by yet.
    """

    number: int
    plateau: Plateau
    reading: float
    off_percent: float | None
    gap_percent: float | None  # of a point coming down: less the same weight going up


def so_far(state: Guided) -> tuple[PointSoFar, ...]:
    """Return every point, void ones included. Each round has a zero of its own."""
    valid = state.valid
    zeros = [point for point in valid if point.step.mass_kg == 0.0]
    if not state.points:
        return ()
    first = zeros[0] if zeros else state.points[0]
    readings = [_signed(state, point) - _signed(state, first) for point in state.points]
    off = _off_line(state, readings)
    return tuple(
        PointSoFar(number, point, readings[number - 1], off.get(number - 1), _gap(state, number))
        for number, point in enumerate(state.points, start=1)
    )


def _signed(state: Guided, point: Plateau) -> float:
    return float(np.array(point.counts) @ state.signs)


def _off_line(state: Guided, readings: list[float]) -> dict[int, float]:
    """Return what the best line through each round's points leaves of them, by place."""
    off: dict[int, float] = {}
    top = max(map(abs, readings)) or 1.0
    for name in {point.step.series for point in state.valid}:
        places = [
            place
            for place, point in enumerate(state.points)
            if point.step.series == name and not point.void and point.step.mass_kg is not None
        ]
        masses = np.array([state.points[place].step.mass_kg for place in places])
        if len(np.unique(masses)) < 3:
            continue
        values = np.array([readings[place] for place in places])
        about = masses - masses.mean()
        slope = float(about @ values / (about @ about))
        rest = values - values.mean() - slope * about
        off |= dict(zip(places, map(float, 100.0 * rest / top), strict=True))
    return off


def _gap(state: Guided, number: int) -> float | None:
    """Return what a weight coming down reads more than going up, in % of the heaviest reading."""
    point = state.points[number - 1]
    if point.void or point.step.direction != "down":
        return None
    own = [each for each in state.valid if each.step.series == point.step.series]
    up = [e for e in own if e.step.direction == "up" and e.step.mass_kg == point.step.mass_kg]
    if not up:
        return None
    values = [_signed(state, each) for each in own]
    span = max(values) - min(values)
    return 100.0 * (_signed(state, point) - _signed(state, up[0])) / span if span else None
