"""Is a reading at rest? The one test, by slope and noise, behind zeros and weight plateaus."""

import math
from dataclasses import dataclass

import numpy as np

from daq.samples import FloatArray


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What a stretch of one response did, beside what it was allowed; all in its own unit.

    ``drift`` is the slope of the best line times the length of the stretch; ``noise`` the standard
    deviation about that line.
    """

    mean: float
    drift: float
    noise: float
    drift_limit: float
    noise_limit: float
    seconds: float
    samples: int
    least_seconds: float

    @property
    def long_enough(self) -> bool:
        """Whether there is enough to judge by."""
        return self.samples >= 5 and self.seconds >= self.least_seconds

    @property
    def steady(self) -> bool:
        """Whether the reading may be taken."""
        return self.long_enough and self._drift_ok and self.noise <= self.noise_limit

    def words(self, unit: str = "counts", size: float = 1.0) -> str:
        """Return the verdict with its figures in ``unit``, which is so many times our own.

        What is not steady tells the one figure that is worse, so as to fit beside a bar.
        """
        if not self.long_enough:
            return (
                f"only {self.seconds:.1f} s and {self.samples} samples so far; "
                f"{self.least_seconds:.1f} s are needed"
            )
        drift = _within("drift", self.drift, self.drift_limit, unit, size, "+")
        noise = _within("noise", self.noise, self.noise_limit, unit, size)
        if self.steady:
            return f"steady: {drift} in {self.seconds:.1f} s, {noise}"
        drifts = abs(self.drift) * self.noise_limit > self.noise * self.drift_limit
        return f"not steady: {f'{drift} in {self.seconds:.1f} s' if drifts else noise}"

    @property
    def _drift_ok(self) -> bool:
        return abs(self.drift) <= self.drift_limit


def _within(name: str, value: float, limit: float, unit: str, size: float, sign: str = "") -> str:
    """Return a figure beside its limit, with decimals for two digits of the limit."""
    decimals = min(4, max(0, 1 - math.floor(math.log10(limit / size)))) if limit > 0.0 else 0
    return f"{name} {value / size:{sign}.{decimals}f} {unit} (limit {limit / size:.{decimals}f})"


def judge_steadiness(
    values: FloatArray,
    seconds: FloatArray,
    drift_limit: float,
    noise_limit: float,
    least_seconds: float = 1.0,
) -> Steadiness:
    """Judge a stretch: ``values`` (n,) in any unit, ``seconds`` (n,) rising; n may be 0."""
    count = len(values)
    length = float(seconds[-1] - seconds[0]) if count else 0.0
    if count < 2 or length <= 0.0:
        mean = float(np.mean(values)) if count else float("nan")
        return Steadiness(mean, 0.0, 0.0, drift_limit, noise_limit, length, count, least_seconds)
    values = np.asarray(values, dtype=np.float64)
    mean = float(np.mean(values))
    time = np.asarray(seconds, dtype=np.float64) - np.mean(seconds)
    rest = values - mean
    slope = float(time @ rest / (time @ time))
    rest = rest - slope * time
    noise = float(np.sqrt(rest @ rest / max(count - 2, 1)))
    return Steadiness(
        mean, slope * length, noise, drift_limit, noise_limit, length, count, least_seconds
    )


def latest_plateau(
    values: FloatArray,
    seconds: FloatArray,
    drift_limit: float,
    noise_limit: float,
    window_s: float = 4.0,
) -> Steadiness:
    """Judge the last ``window_s`` of a stretch (n,): the guided form takes a weight when steady."""
    if len(seconds):
        start = int(np.searchsorted(seconds, seconds[-1] - window_s, side="left"))
        values, seconds = values[start:], seconds[start:]
    return judge_steadiness(values, seconds, drift_limit, noise_limit, 0.9 * window_s)
