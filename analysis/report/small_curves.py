"""Every pull as a small drawing: coordinates for the page's SVG, a series on one scale."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.pull_result import Kind
from analysis.report.evidence import Mark, Shown
from analysis.report.thin_curve import ThinCurve
from analysis.report.wording import NOTHING, ForceUnit, listed
from daq.units import force_in

WIDTH, HEIGHT = 240.0, 132.0
LEFT, RIGHT, TOP, BOTTOM = 20.0, 228.0, 8.0, 116.0
LEAD_S = 2.0  # shown before the pull begins
HEADROOM = 1.06


@dataclass(frozen=True, slots=True)
class Scale:
    """Seconds from the beginning and newtons to the places of the drawing, for a whole series."""

    last_s: float
    top_n: float

    def x(self, seconds: float) -> float:
        """Return the place of a time."""
        share = (seconds + LEAD_S) / (self.last_s + LEAD_S)
        return LEFT + (RIGHT - LEFT) * min(1.0, max(0.0, share))

    def y(self, force_n: float) -> float:
        """Return the place of a force; below zero stays at the foot."""
        share = min(1.0, max(-0.04, force_n / self.top_n))
        return BOTTOM - (BOTTOM - TOP) * share


@dataclass(frozen=True, slots=True)
class Tick:
    """A place on an axis with its number."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class Placed:
    """A mark on the drawing."""

    kind: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Drawing:
    """One small curve, ready for the template."""

    path: str  # SVG path data; a new M after each gap
    gaps: tuple[tuple[float, float], ...]  # from x to x: nothing was recorded
    marks: tuple[Placed, ...]
    verified_y: float | None  # above this the force is extrapolated
    stop_y: float | None
    words: str  # what the drawing shows, for those who do not see it
    not_drawn: int


@dataclass(frozen=True, slots=True)
class Axes:
    """What all drawings of a series share."""

    scale: Scale
    seconds: tuple[Tick, ...]
    forces: tuple[Tick, ...]


def axes_for(pulls: Sequence[Shown], unit: ForceUnit) -> Axes:
    """Return one scale for all pulls of a series, so that they may be compared by eye."""
    forces = [shown.result.max_force_n for shown in pulls]
    top_n = max((force for force in forces if math.isfinite(force)), default=1000.0)
    last_s = max((_last_s(shown) for shown in pulls), default=60.0)
    scale = Scale(max(last_s, 1.0), max(top_n, 1.0) * HEADROOM)
    return Axes(
        scale,
        tuple(Tick(round(scale.x(at), 1), f"{at:g}") for at in _steps(scale.last_s)),
        tuple(
            Tick(round(scale.y(at * _newtons(unit)), 1), f"{at:g}")
            for at in _steps(scale.top_n / _newtons(unit))
        ),
    )


def drawing(shown: Shown, scale: Scale, unit: ForceUnit) -> Drawing:
    """Return the drawing of one pull."""
    if shown.curve is None or not len(shown.curve.seconds):
        return Drawing("", (), (), None, None, f"{shown.label}: no samples", 0)
    path, gaps = _path(shown.curve, shown.began_s, scale)
    return Drawing(
        path=path,
        gaps=gaps,
        marks=tuple(_placed(mark, shown.began_s, scale) for mark in shown.marks),
        verified_y=_inside(shown.verified_n, scale),
        stop_y=_inside(shown.true_stop_n, scale),
        words=_words(shown, unit),
        not_drawn=shown.curve.not_drawn,
    )


def _path(
    curve: ThinCurve, began_s: float, scale: Scale
) -> tuple[str, tuple[tuple[float, float], ...]]:
    """Return the path data and the gaps; what lies before the lead is left away."""
    time_s = curve.seconds - began_s
    shown = time_s >= -LEAD_S
    xs = [round(scale.x(at), 1) for at in time_s[shown].tolist()]
    ys = [round(scale.y(at), 1) for at in curve.force_n[shown].tolist()]
    breaks = curve.breaks[shown]
    parts, gaps = [], []
    for place, (x, y) in enumerate(zip(xs, ys, strict=True)):
        begins = place == 0 or bool(breaks[place])
        parts.append(f"{'M' if begins else 'L'}{x:g} {y:g}")
        if begins and place:
            gaps.append((xs[place - 1], x))
    return "".join(parts), tuple(gaps)


def _placed(mark: Mark, began_s: float, scale: Scale) -> Placed:
    return Placed(
        mark.kind, round(scale.x(mark.seconds - began_s), 1), round(scale.y(mark.force_n), 1)
    )


def _inside(force_n: float, scale: Scale) -> float | None:
    return round(scale.y(force_n), 1) if 0.0 <= force_n <= scale.top_n else None


def _words(shown: Shown, unit: ForceUnit) -> str:
    result = shown.result
    size = "at least " if result.kind is Kind.AT_LEAST else ""
    told = [f"{size}{unit.words(result.max_force_n)} at {_seconds(result.time_to_max_s)}"]
    if math.isfinite(result.yield_force_n):
        told.append(f"yield at {unit.words(result.yield_force_n)}")
    if result.cracks:
        told.append(f"{result.cracks} cracks" if result.cracks > 1 else "1 crack")
    if shown.curve is not None and shown.curve.breaks.any():
        told.append("with gaps in the record")
    return f"Force over time of {shown.label}: {result.kind.value}, maximum {listed(told)}"


def _seconds(value: float) -> str:
    return f"{value:.0f} s" if math.isfinite(value) else NOTHING


def _last_s(shown: Shown) -> float:
    if shown.curve is None or not len(shown.curve.seconds):
        return 0.0
    return float(shown.curve.seconds[-1] - shown.began_s)


def _newtons(unit: ForceUnit) -> float:
    return 1.0 / force_in(1.0, unit.si)


def _steps(top: float) -> list[float]:
    """Return two to five round numbers from 0 up to ``top``."""
    rough = 10.0 ** math.floor(math.log10(top / 2.0)) if top > 0 else 1.0
    step = next(rough * k for k in (1, 2, 5, 10, 20) if top / (rough * k) < 4.5)
    return [float(f"{at:.6g}") for at in np.arange(0.0, top * (1 + 1e-9), step)]
