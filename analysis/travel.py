"""Stiffness, energy and offset yield from counted turns. N, mm, J.

Travel at the hook is turns x lead / ratio; it holds the flex of beam, frame and grips, which only a
blank pull on a steel dummy tells apart from the specimen.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.landmarks import STIFF_FROM, STIFF_TO
from analysis.strokes import Strokes
from daq.samples import FloatArray

NAN = float("nan")
OFFSET_PART = 0.05  # of the fastener's diameter (5 % diameter offset, common practice)
STROKE_TURNS, BLANK = "stroke_turns", "blank_stiffness_n_per_mm"


@dataclass(frozen=True, slots=True)
class Travelled:
    """What travel adds; NaN without it."""

    stiffness_n_per_mm: float = NAN
    energy_to_max_j: float = NAN
    offset_yield_n: float = NAN


def number(values: Mapping[str, str | float], key: str) -> float:
    """Return a sample value as a positive number, NaN where there is none."""
    try:
        found = float(values.get(key, NAN))
    except (TypeError, ValueError):
        return NAN
    return found if found > 0.0 else NAN


def travelled(
    force_n: FloatArray,
    strokes: Strokes,
    specimen: Mapping[str, str | float],
    mm_per_turn: float,
) -> Travelled:
    """Return what equal strokes of known turns give; ``mm_per_turn`` at the hook, force (n,)."""
    step_mm = number(specimen, STROKE_TURNS) * mm_per_turn
    if not step_mm > 0.0 or len(strokes) < 4:
        return Travelled()
    ends_n = np.concatenate([force_n[strokes.first[:1]], force_n[strokes.last]])
    begins_n = force_n[strokes.first]
    energy_j = float((0.5 * (begins_n + ends_n[1:])).sum() * step_mm / 1000.0)
    way_mm: FloatArray = step_mm * np.arange(len(ends_n), dtype=np.float64)
    blank = number(specimen, BLANK)
    if blank > 0.0:
        way_mm = way_mm - ends_n / blank
        energy_j -= float(ends_n.max() ** 2 / (2.0 * blank) / 1000.0)
    stiffness, start_mm = _line(way_mm, ends_n)
    offset_mm = OFFSET_PART * number(specimen, "major_mm")
    return Travelled(
        stiffness, energy_j, _offset_yield(way_mm, ends_n, stiffness, start_mm + offset_mm)
    )


def _line(way_mm: FloatArray, force_n: FloatArray) -> tuple[float, float]:
    """Return slope and the travel at no force of the straight part, NaN where it cannot be had."""
    top_n = float(force_n.max())
    straight = (force_n >= STIFF_FROM * top_n) & (force_n <= STIFF_TO * top_n)
    if straight.sum() < 3:
        return NAN, NAN
    slope, level = np.polyfit(way_mm[straight], force_n[straight], 1)
    return (float(slope), float(-level / slope)) if slope > 0.0 else (NAN, NAN)


def _offset_yield(way_mm: FloatArray, force_n: FloatArray, slope: float, start_mm: float) -> float:
    """Return the force where the curve crosses the shifted line, NaN where it does not."""
    above = force_n - slope * (way_mm - start_mm)
    crossed = np.flatnonzero((above[:-1] > 0.0) & (above[1:] <= 0.0))
    if not len(crossed):
        return NAN
    a = int(crossed[-1])
    part = above[a] / (above[a] - above[a + 1])
    return float(force_n[a] + part * (force_n[a + 1] - force_n[a]))
