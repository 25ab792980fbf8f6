"""The landmarks of a pull: strokes and rests, stiffness, yield, fall and what is left after it."""

import math
from dataclasses import dataclass, field

import numpy as np

from analysis.pull_curve import PullCurve
from analysis.strokes import NO_STROKES, SLOPE_S, Strokes, find_strokes, slopes
from analysis.yield_mark import NO_YIELD, Yield, find_yield
from daq.samples import NOT_A_MAXIMUM, FloatArray
from daq.watch.pull_phase import Happening

NAN = float("nan")
BARRED = int(NOT_A_MAXIMUM)
STIFF_FROM, STIFF_TO = 0.20, 0.50  # of the maximum: where the first stiffness is taken
LONG_REST_S = 1.2  # a rest that shows its relaxation
SETTLING_S = 0.15  # of a rest: the converter and the hand come to rest first
RELAX_T0_S = 0.3
RELAX_BELOW = 0.60  # of the maximum: above, wood relaxes faster
LOSS_S = 1.0
FALL_PART = 0.15  # of the maximum: below that it has fallen
CALM_PART, CALM_S = 0.05, 1.0  # it has come to rest when it moves less than this
LOOK_S = 60.0
DROP_BEFORE_S, DROP_AFTER_S = 0.12, 0.25


@dataclass(frozen=True, slots=True)
class Rest:
    """A rest between two strokes: since when, how long (s), the force it began at (N), losses.

    ``loss_first_s_n``: lost in its first second; ``per_decade``: share of the force lost in each
    tenfold of time, NaN where the rest is too short to tell.
    """

    at_s: float
    seconds: float
    force_n: float
    loss_first_s_n: float
    per_decade: float


@dataclass(frozen=True, slots=True)
class Fall:
    """What came after the maximum. Forces N, times s."""

    drop_n: float = NAN  # from the maximum to where it came to rest
    drop_s: float = NAN  # from 10 % to 90 % of it
    residual_n: float = NAN  # where it came to rest, or the friction tail
    lowest_n: float = NAN  # within a second: below zero where the beam rings


@dataclass(frozen=True, slots=True)
class Landmarks:
    """What the course of one pull shows. Forces N at the specimen, times s on its clock."""

    strokes: Strokes = NO_STROKES  # up to the maximum
    gain_per_stroke_n: float = NAN  # between 20 and 50 % of the maximum
    climb_at_maximum_n_per_s: float = NAN
    yields: Yield = NO_YIELD
    rest_loss_yield_n: float = NAN  # where the loss in the first second of a rest doubles
    rests: tuple[Rest, ...] = ()
    rest_before_maximum_s: float = NAN
    fall: Fall = field(default_factory=Fall)
    crack_drops_n: tuple[float, ...] = ()

    @property
    def longest_rest_s(self) -> float:
        """The longest rest before the maximum, NaN without one."""
        return max((rest.seconds for rest in self.rests), default=NAN)

    def relaxation_per_decade(self, maximum_n: float) -> float:
        """Share of the force lost in each decade of time at rest, below RELAX_BELOW of maximum."""
        found = [r.per_decade for r in self.rests if r.force_n < RELAX_BELOW * maximum_n]
        found = [each for each in found if math.isfinite(each)]
        return float(np.median(found)) if found else NAN


def find_landmarks(curve: PullCurve) -> Landmarks:
    """Return the landmarks of a curve; without a maximum, none."""
    if curve.top < 0 or not curve.happenings:
        return Landmarks()
    time_s, force_n, end = curve.seconds, _believed(curve), curve.top + 1
    maximum_n = curve.peak.force_n
    strokes = find_strokes(time_s, force_n, curve.first, end, curve.noise_n)
    rests = find_rests(time_s, force_n, strokes, curve.top)
    cracks = [h for h in curve.crack_marks if h.seconds < curve.peak.seconds]
    return Landmarks(
        strokes=strokes,
        gain_per_stroke_n=_first_gain(force_n, strokes, maximum_n),
        climb_at_maximum_n_per_s=_climb_at(time_s, force_n, curve.top),
        yields=find_yield(
            time_s[:end], force_n[:end], strokes, maximum_n, [h.seconds for h in cracks]
        ),
        rest_loss_yield_n=_rest_loss_yield(rests, maximum_n),
        rests=rests,
        rest_before_maximum_s=rests[-1].seconds if rests else NAN,
        fall=find_fall(time_s, force_n, curve.top),
        crack_drops_n=tuple(_drop_of(time_s, force_n, h) for h in curve.crack_marks),
    )


def _believed(curve: PullCurve) -> FloatArray:
    """Return the force with unbelievable samples bridged: for marks only, never for a maximum."""
    barred = (curve.flags & BARRED) != 0
    force_n = curve.forces.at_specimen_n
    if not barred.any() or barred.all():
        return force_n
    good = np.flatnonzero(~barred)
    return np.interp(np.arange(len(force_n)), good, force_n[good])


def find_rests(
    seconds: FloatArray, force_n: FloatArray, strokes: Strokes, top: int
) -> tuple[Rest, ...]:
    """Return the rests between strokes up to the maximum at the sample ``top``."""
    begins = strokes.last
    ends = np.concatenate([strokes.first[1:], [top]]) if len(strokes) else strokes.first
    return tuple(
        _rest(seconds[a : b + 1], force_n[a : b + 1])
        for a, b in zip(begins.tolist(), ends.tolist(), strict=True)
        if b > a + 2 and seconds[b] - seconds[a] > 2 * SLOPE_S
    )


def _rest(seconds: FloatArray, force_n: FloatArray) -> Rest:
    since_s = seconds - seconds[0]
    from_n = float(np.max(force_n[: max(2, int(np.searchsorted(since_s, SETTLING_S)))]))
    lasting = float(since_s[-1])
    loss = from_n - float(np.interp(LOSS_S, since_s, force_n)) if lasting >= LOSS_S else NAN
    return Rest(float(seconds[0]), lasting, from_n, loss, _per_decade(since_s, force_n, from_n))


def _per_decade(since_s: FloatArray, force_n: FloatArray, from_n: float) -> float:
    """Fit F = F0 - r log10(1 + t / t0) after SETTLING_S (log-time relaxation, common practice)."""
    part = (since_s > SETTLING_S) & (since_s < since_s[-1] - SLOPE_S)
    if since_s[-1] < LONG_REST_S or part.sum() < 8 or from_n <= 0.0:
        return NAN
    decades = np.log10(1.0 + since_s[part] / RELAX_T0_S)
    off = decades - decades.mean()
    return float(-(off @ force_n[part]) / (off @ off) / from_n)


def _first_gain(force_n: FloatArray, strokes: Strokes, maximum_n: float) -> float:
    middle = 0.5 * (force_n[strokes.first] + force_n[strokes.last])
    inside = (middle > STIFF_FROM * maximum_n) & (middle < STIFF_TO * maximum_n)
    gains = (force_n[strokes.last] - force_n[strokes.first])[inside]
    return float(np.median(gains)) if len(gains) else NAN


def _climb_at(seconds: FloatArray, force_n: FloatArray, top: int) -> float:
    """Return the steepest climb within the last half second before the maximum, N/s."""
    first = int(np.searchsorted(seconds, seconds[top] - 0.5))
    part = slice(first, top + 1)
    if top - first < 3:
        return 0.0
    return max(0.0, float(slopes(seconds[part], force_n[part]).max()))


def _rest_loss_yield(rests: tuple[Rest, ...], maximum_n: float) -> float:
    """Return the force where the share lost in the first second doubles and stays so."""
    seen = [r for r in rests if r.force_n > STIFF_FROM * maximum_n]
    shares = [(r.force_n, r.loss_first_s_n / r.force_n) for r in seen]
    shares = [(force, share) for force, share in shares if math.isfinite(share)]
    early = [share for force, share in shares if force < STIFF_TO * maximum_n]
    if len(early) < 3 or np.median(early) <= 0.0:
        return NAN
    doubled = 2.0 * float(np.median(early))
    for place, (force, _) in enumerate(shares):
        later = [share for _, share in shares[place:]]
        if force >= STIFF_TO * maximum_n and len(later) >= 2 and min(later) >= doubled:
            return force
    return NAN


def find_fall(seconds: FloatArray, force_n: FloatArray, top: int) -> Fall:
    """Return how the force fell after its maximum and where it came to rest."""
    maximum_n = float(force_n[top])
    end = int(np.searchsorted(seconds, seconds[top] + LOOK_S))
    time_s, after_n = seconds[top:end], force_n[top:end]
    fallen = np.flatnonzero(after_n < (1.0 - FALL_PART) * maximum_n)
    if len(fallen) < 2 or maximum_n <= 0.0:
        return Fall()
    calm = _calm_after(time_s, after_n, int(fallen[0]), CALM_PART * maximum_n)
    residual_n = float(
        np.median(after_n[(time_s >= time_s[calm]) & (time_s < time_s[calm] + CALM_S)])
    )
    drop_n = maximum_n - residual_n
    before = np.flatnonzero(after_n[: calm + 1] >= maximum_n - 0.1 * drop_n)
    low = np.flatnonzero(after_n[before[-1] :] <= maximum_n - 0.9 * drop_n)
    drop_s = float(time_s[before[-1] + low[0]] - time_s[before[-1]]) if len(low) else NAN
    first_second = after_n[time_s < time_s[fallen[0]] + 1.0]
    return Fall(drop_n, drop_s, residual_n, float(first_second.min()))


def _calm_after(seconds: FloatArray, force_n: FloatArray, first: int, moves_n: float) -> int:
    """Return the first place from ``first`` on after which a second passes quietly."""
    step = max(1, (len(seconds) - first) // 400)
    for place in range(first, len(seconds), step):
        end = int(np.searchsorted(seconds, seconds[place] + CALM_S))
        if end >= len(seconds):
            break
        if float(np.ptp(force_n[place:end])) < moves_n:
            return place
    return first


def _drop_of(seconds: FloatArray, force_n: FloatArray, crack: Happening) -> float:
    """Return how far the force fell at a crack, N."""
    part = (seconds > crack.seconds - DROP_BEFORE_S) & (seconds < crack.seconds + DROP_AFTER_S)
    return crack.force_n - float(force_n[part].min()) if part.any() else NAN
