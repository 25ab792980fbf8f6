"""Where a pull begins to give: the yield mark, from the climb within and between strokes.

Without travel the turn of the crank is unknown, but a hand repeats itself: below the yield every
stroke draws the same curve in time, only larger or smaller. That curve is taken from the pull's own
early strokes. Above the yield the climb falls behind it, more and more, until it stops at the
maximum. The force at which that falling behind begins, fitted over all strokes, is the yield.

The rule (own; gain of equal strokes is common practice, no source): with S the maximum, s the share
of a stroke done, M the largest force so far,

    F = c_i + b_i s - kappa q(M),   q = 2 (sqrt(S - Fy) - sqrt(S - M)) for M > Fy, else 0

which is a stiffness that falls as sqrt(S - M) / (kappa + sqrt(S - M)): a parabola of force over
slip, as in the rounded tops of withdrawal tests. b_i is nearly the same for all strokes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.strokes import Strokes
from daq.samples import FloatArray

POINTS = 24
INNER = (0.08, 0.95)  # of a stroke: its very ends are where it was found
FROM_PART = 0.12  # of the maximum: below lies slack and bedding in
EARLY_PART = 0.40
TO_PART = 0.985
LOWEST_PART, HIGHEST_PART = 0.25, 0.96
COARSE_PART, FINE_PART = 0.015, 0.0025
LAST_PART = 0.953  # a bend above is the rounding of any maximum
LEAST_GAIN = 29.0  # a yield must lower the sum of squares by so much ...
LEAST_SURE = 0.35  # ... and by this part of it
EVENNESS = 0.06  # usual scatter of a hand's strokes
SHAPE_N = 5.0  # scatter of a point about that curve; wide, as neighbours are not independent
CRACK_S = 0.3
ROUNDS = 2


FEWEST = 5  # strokes
FEWEST_POINTS = 8  # of a stroke
SMOOTH_SAMPLES = 5


@dataclass(frozen=True, slots=True)
class Yield:
    """A yield mark: force (N, NaN: none), and how sure (0 to 1)."""

    force_n: float
    sure: float


NO_YIELD = Yield(float("nan"), 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Climb:
    """Strokes sampled alike: force, largest force so far, and weight; each (strokes, POINTS)."""

    force_n: FloatArray
    highest_n: FloatArray
    weight: FloatArray


def find_yield(
    seconds: FloatArray,
    force_n: FloatArray,
    strokes: Strokes,
    maximum_n: float,
    cracks_s: Sequence[float] = (),
) -> Yield:
    """Return the yield of a pull; ``seconds``, ``force_n`` (n,) end with the maximum."""
    climb = _climb(seconds, force_n, strokes, maximum_n, cracks_s)
    if len(climb.force_n) < FEWEST:
        return NO_YIELD
    coarse = np.arange(LOWEST_PART, HIGHEST_PART, COARSE_PART) * maximum_n
    yield_n = EARLY_PART * maximum_n
    for _ in range(ROUNDS):
        curve = _own_curve(climb, max(yield_n, EARLY_PART * maximum_n))
        yield_n = float(coarse[np.argmin(_fit(climb, curve, coarse, maximum_n)[0])])
    fine = yield_n + np.arange(-COARSE_PART, COARSE_PART, FINE_PART) * maximum_n
    misfit, straight = _fit(climb, curve, fine, maximum_n)
    best = int(np.argmin(misfit))
    return _judged(float(fine[best]), straight, float(misfit[best]), maximum_n)


def _judged(yield_n: float, straight: float, misfit: float, maximum_n: float) -> Yield:
    """Return the yield, or none: where a straight climb does nearly as well, or only the end bends.

    ``straight`` and ``misfit`` are the sums of squares without a yield and with this one.
    """
    if yield_n > LAST_PART * maximum_n or straight - misfit < LEAST_GAIN:
        return NO_YIELD
    sure = 1.0 - misfit / straight
    return Yield(yield_n, sure) if sure > LEAST_SURE else NO_YIELD


def _climb(
    seconds: FloatArray,
    force_n: FloatArray,
    strokes: Strokes,
    maximum_n: float,
    cracks_s: Sequence[float],
) -> _Climb:
    first, last = strokes.first, strokes.last
    begin_s, end_s = seconds[first][:, None], seconds[last][:, None]
    at_s = begin_s + np.linspace(*INNER, POINTS) * (end_s - begin_s)
    force = np.interp(at_s, seconds, _smooth(force_n))
    highest = np.interp(at_s, seconds, np.maximum.accumulate(force_n))
    use = (force > FROM_PART * maximum_n) & (highest < TO_PART * maximum_n)
    for crack_s in cracks_s:
        hit = (begin_s < crack_s + CRACK_S) & (end_s > crack_s - CRACK_S)
        use &= ~(hit & (at_s > crack_s - CRACK_S))
    enough = use.sum(axis=1) >= FEWEST_POINTS
    return _Climb(force[enough], highest[enough], use[enough].astype(np.float64))


def _smooth(force_n: FloatArray) -> FloatArray:
    if len(force_n) < SMOOTH_SAMPLES:
        return force_n
    half = SMOOTH_SAMPLES // 2
    total = np.cumsum(np.concatenate([[0.0], force_n]))
    even = force_n.copy()
    even[half:-half] = (total[SMOOTH_SAMPLES:] - total[:-SMOOTH_SAMPLES]) / SMOOTH_SAMPLES
    return even


def _own_curve(climb: _Climb, below_n: float) -> FloatArray:
    """Return how this hand draws a stroke: share of the gain at each point, (POINTS,)."""
    whole = climb.weight.sum(axis=1) >= POINTS - 1
    early = whole & (climb.force_n[:, -1] < below_n)
    if early.sum() < 2:
        early = np.arange(len(whole)) < 3
    gain = climb.force_n[early, -1:] - climb.force_n[early, :1]
    curve: FloatArray = np.median((climb.force_n[early] - climb.force_n[early, :1]) / gain, axis=0)
    return curve


def _fit(
    climb: _Climb, curve: FloatArray, candidates: FloatArray, maximum_n: float
) -> tuple[FloatArray, float]:
    """Return the misfit of each candidate yield, (candidates,), and the misfit of none.

    Linear least squares: what is left of each stroke after its own curve, and how unlike the gains
    of the strokes are, each in units of its usual scatter.
    """
    weight, points = climb.weight, climb.weight.sum(axis=1)
    middle = (weight * curve).sum(axis=1, keepdims=True) / points[:, None]
    off = (curve - middle) * weight
    spread = (off * (curve - middle)).sum(axis=1)

    def parted(values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What is left of each stroke after its own curve, and its gain."""
        level = (weight * values).sum(axis=-1, keepdims=True) / points[:, None]
        gain = (off * values).sum(axis=-1) / spread
        left = (values - level) * weight - gain[..., None] * off
        return left, gain

    left_f, gain_f = parted(climb.force_n)
    top = np.sqrt(np.maximum(maximum_n - candidates, 0.0))[:, None, None]
    bent = 2.0 * (top - np.minimum(top, np.sqrt(np.maximum(maximum_n - climb.highest_n, 0.0))))
    left_q, gain_q = parted(bent)
    usual = EVENNESS * float(np.median(gain_f[: max(3, len(gain_f) // 3)]))
    dev_f, dev_q = gain_f - gain_f.mean(), gain_q - gain_q.mean(axis=1, keepdims=True)
    per_n, per_gain = SHAPE_N**-2, usual**-2
    qq = (left_q**2).sum(axis=(1, 2)) * per_n + (dev_q**2).sum(axis=1) * per_gain
    qf = (left_q * left_f).sum(axis=(1, 2)) * per_n + (dev_q * dev_f).sum(axis=1) * per_gain
    ff = (left_f**2).sum() * per_n + (dev_f**2).sum() * per_gain
    kappa = np.divide(np.maximum(-qf, 0.0), qq, out=np.zeros(len(qq)), where=qq > 0.0)
    return ff + 2.0 * kappa * qf + kappa**2 * qq, float(ff)
