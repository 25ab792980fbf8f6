"""When a sample was taken: the board's clock (or sample number) fitted to the host's clock.

Adapters deliver in bursts, so an arrival is late by up to some 20 ms, but never early: the line
that joins the two clocks rests on the earliest arrivals. The nominal rate is never used.
"""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from daq.samples import Flag, FloatArray

_BLOCKS = 64  # stretches of a recording, each giving its earliest arrival
_ROWS_A_BLOCK = 16
_FEWEST_BLOCKS = 3
_ROUNDS = 4
_OUTLIER = 4.0  # times the median deviation
_NOT_OUR_SECOND = 0.02  # a board's crystal or resonator is never so far off
_RATE_UNSURE = 0.002  # worse than what any board's own clock is good for
_MEMORY_NS = 2e10  # a board's period hardly moves; a stalled host does
_STEER_S = 1.0
_STEER_MOST = 0.02


@dataclass(frozen=True, slots=True)
class ClockFit:
    """The line arrival_ns = offset_ns + 1000 * rate * x, x in microseconds of the board's clock.

    Without a board clock x is the number of samples (silences taken out), and ``rate`` the period
    in microseconds. ``rate_error`` is one standard error; ``residual_sd_us`` the scatter of the
    earliest arrivals about the line.
    ``applied_rate`` is what ``seconds`` uses: 1 where the board's own clock is the better witness;
    ``note`` says so.
    """

    has_clock: bool
    rate: float
    rate_error: float
    offset_ns: float
    residual_sd_us: float
    applied_rate: float
    note: str


def fit_clock(samples: np.ndarray, *, has_clock: bool) -> ClockFit:
    """Fit the samples' own course to the host's clock, resting on the earliest arrivals.

    ``samples`` are (n,) of ``sample_dtype``, in order. With too few of them the rate is 1 (with a
    board clock) or 0, its error infinite. Source: own method (lower envelope, then least squares).
    """
    course, _ = _course(samples, has_clock)
    arrival_us = (samples["arrival_ns"] - samples["arrival_ns"][:1]) / 1e3
    if not has_clock:
        arrival_us = arrival_us - _silences_us(samples)
    blocks = min(_BLOCKS, len(course) // _ROWS_A_BLOCK)
    if blocks < _FEWEST_BLOCKS or course[-1] <= course[0]:
        return _no_fit(samples, course, arrival_us, has_clock)
    rate, early_x, early_y = _envelope(course, arrival_us, blocks)
    rate, at_zero_us, error, scatter_us = _straight_line(early_x, early_y, rate)
    first_us = float(samples["board_us"][0]) if has_clock else 0.0
    start_us = int(samples["arrival_ns"][0]) / 1e3
    applied, note = _applied(rate, error) if has_clock else (rate, "")
    return ClockFit(
        has_clock=has_clock,
        rate=rate,
        rate_error=error,
        offset_ns=1e3 * (start_us + at_zero_us - rate * first_us),
        residual_sd_us=scatter_us,
        applied_rate=applied,
        note=note,
    )


def seconds(samples: np.ndarray, fit: ClockFit) -> FloatArray:
    """Return the time of each sample since the first, (n,), in host seconds as ``fit`` has them."""
    course, silent_us = _course(samples, fit.has_clock)
    return (course * fit.applied_rate + silent_us) / 1e6


def _course(samples: np.ndarray, has_clock: bool) -> tuple[FloatArray, FloatArray | float]:
    """Return x of the fit from the first sample on, and the silences to add (without a clock)."""
    if not len(samples):
        return np.empty(0), 0.0
    if has_clock:
        return (samples["board_us"] - samples["board_us"][0]).astype(np.float64), 0.0
    number = (samples["index"] - samples["index"][0]).astype(np.float64)
    return number - np.cumsum(_after_silence(samples)), _silences_us(samples)


def _after_silence(samples: np.ndarray) -> np.ndarray:
    after: np.ndarray = (samples["flags"] & int(Flag.GAP)) != 0
    after[:1] = False
    return after


def _silences_us(samples: np.ndarray) -> FloatArray:
    """Return the sum of silences up to each sample, by the host's clock."""
    waits = np.diff(samples["arrival_ns"], prepend=samples["arrival_ns"][:1]) / 1e3
    return np.cumsum(np.where(_after_silence(samples), waits, 0.0))


def _no_fit(
    samples: np.ndarray, course: FloatArray, arrival_us: FloatArray, has_clock: bool
) -> ClockFit:
    """The fit of a recording too short for one."""
    rate = 1.0
    if not has_clock:
        rate = float(arrival_us[-1] / course[-1]) if len(course) > 1 and course[-1] else 0.0
    first_us = float(samples["board_us"][0]) if has_clock and len(samples) else 0.0
    start_ns = float(samples["arrival_ns"][0]) if len(samples) else 0.0
    note = "too few samples to compare the clocks"
    offset_ns = start_ns - 1e3 * rate * first_us
    return ClockFit(has_clock, rate, math.inf, offset_ns, math.nan, rate, note)


def _envelope(x: FloatArray, y: FloatArray, blocks: int) -> tuple[float, FloatArray, FloatArray]:
    """Return the rate, and the earliest arrival of each of ``blocks`` stretches."""
    edges = np.linspace(0, len(x), blocks + 1).astype(np.int64)
    rate = float((y[-1] - y[0]) / (x[-1] - x[0]))
    early = edges[:-1]
    for _ in range(_ROUNDS):
        late = y - rate * x
        early = np.array([a + int(late[a:b].argmin()) for a, b in pairwise(edges)])
        rate = _median_slope(x[early], y[early])
    return rate, x[early], y[early]


def _median_slope(x: FloatArray, y: FloatArray) -> float:
    """Return the median of the slopes of all pairs (Theil and Sen)."""
    first, second = np.triu_indices(len(x), 1)
    apart = x[second] - x[first]
    rises = (y[second] - y[first])[apart > 0] / apart[apart > 0]
    return float(np.median(rises)) if len(rises) else 0.0


def _straight_line(x: FloatArray, y: FloatArray, rate: float) -> tuple[float, float, float, float]:
    """Return slope, value at 0, error of the slope and scatter: least squares without outliers."""
    off = y - rate * x
    deviation = np.abs(off - np.median(off))
    keep = deviation <= _OUTLIER * np.median(deviation) + 1e-9
    x, y = x[keep], y[keep]
    middle, level = x.mean(), y.mean()
    spread = float(((x - middle) ** 2).sum())
    if len(x) < _FEWEST_BLOCKS or spread == 0:
        return rate, float(np.median(off)), math.inf, math.nan
    slope = float(((x - middle) * (y - level)).sum() / spread)
    scatter = y - level - slope * (x - middle)
    sd = math.sqrt(float((scatter**2).sum()) / (len(x) - 2))
    return slope, float(level - slope * middle), sd / math.sqrt(spread), sd


def _applied(rate: float, error: float) -> tuple[float, str]:
    """Return the rate to use with a board clock, and why it is not the fitted one."""
    if abs(rate - 1) > _NOT_OUR_SECOND:
        told = f"the host counts {rate:.4g} s to each second of the board"
        return 1.0, f"{told}: the board's clock is taken at its word (replayed faster than life?)"
    if not error <= _RATE_UNSURE:
        return 1.0, "too short a time to compare the clocks: the board's is taken at its word"
    return rate, ""


@dataclass(frozen=True, slots=True)
class LiveClock:
    """Seconds of samples as they come, from the first one on; never waits, never goes back.

    With a board clock: its own deltas. Without: sample number times the running period, led gently
    towards the arrivals; a silence counts as the host's clock saw it.
    """

    has_board_clock: bool
    first_us: int | None = None
    first_ns: int = 0
    last_ns: int = 0
    last_s: float = 0.0
    span_ns: float = 0.0
    steps: float = 0.0

    @classmethod
    def start(cls, *, has_board_clock: bool) -> "LiveClock":
        """Return the clock before the first sample."""
        return cls(has_board_clock)

    def step(self, samples: np.ndarray) -> tuple["LiveClock", FloatArray]:
        """Return the clock after ``samples`` (n,), and their seconds (n,)."""
        if not len(samples):
            return self, np.empty(0)
        if self.first_us is None:
            first_ns = int(samples["arrival_ns"][0])
            begun = replace(
                self, first_us=int(samples["board_us"][0]), first_ns=first_ns, last_ns=first_ns
            )
            return begun._go_on(samples, 1)
        return self._go_on(samples, 0)

    def _go_on(self, samples: np.ndarray, begun: int) -> tuple["LiveClock", FloatArray]:
        """Go on with ``samples``, the first ``begun`` of which stand where the clock stands."""
        if self.has_board_clock:
            return self, (samples["board_us"].astype(np.int64) - (self.first_us or 0)) / 1e6
        waits_ns = np.diff(samples["arrival_ns"], prepend=self.last_ns)
        silent = (samples["flags"] & int(Flag.GAP)) != 0
        usual = ~silent
        usual[:begun] = False
        fade = 0.5 if self.span_ns > _MEMORY_NS else 1.0
        span_ns = self.span_ns * fade + float(waits_ns[usual].sum())
        steps = self.steps * fade + int(usual.sum())
        last_ns = int(samples["arrival_ns"][-1])
        period_s = span_ns / steps / 1e9 if steps else 0.0
        behind_s = (self.last_ns - self.first_ns) / 1e9 - self.last_s
        lead = min(max(behind_s / _STEER_S, -_STEER_MOST), _STEER_MOST)
        step_s = np.where(silent, np.maximum(waits_ns / 1e9, period_s), period_s * (1 + lead))
        step_s[:begun] = 0.0
        seconds_each = self.last_s + np.cumsum(step_s)
        after = replace(
            self, last_ns=last_ns, last_s=float(seconds_each[-1]), span_ns=span_ns, steps=steps
        )
        return after, seconds_each
