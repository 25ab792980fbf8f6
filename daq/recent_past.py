"""The last seconds of a session: kept for the start of a pull, for the zero, for the climb."""

from collections import deque
from itertools import takewhile

import numpy as np

from daq.live_chain import Step
from daq.samples import FloatArray

KEEP_S = 15.0


class RecentPast:
    """The steps of the last KEEP_S seconds, oldest first."""

    def __init__(self, cells: int) -> None:
        self._cells = cells
        self._steps: deque[Step] = deque()

    def add(self, step: Step) -> None:
        """Take a step and drop what is older than KEEP_S."""
        if not len(step.seconds):
            return
        self._steps.append(step)
        oldest_s = step.seconds[-1] - KEEP_S
        while self._steps[0].seconds[-1] < oldest_s:
            self._steps.popleft()

    def clear(self) -> None:
        """Forget everything: the clock or the counts started anew."""
        self._steps.clear()

    def samples(self) -> list[np.ndarray]:
        """Return the blocks of samples, oldest first."""
        return [step.samples for step in self._steps]

    def counts(self, last_s: float) -> tuple[np.ndarray, FloatArray]:
        """Return counts (n, cells) and seconds (n,) of the last ``last_s`` seconds."""
        steps = self._since(last_s)
        if not steps:
            return np.empty((0, self._cells), np.int32), np.empty(0)
        seconds = np.concatenate([step.seconds for step in steps])
        counts = np.concatenate([step.samples["counts"] for step in steps])
        recent = seconds >= seconds[-1] - last_s
        return counts[recent], seconds[recent]

    def covers(self, last_s: float) -> bool:
        """Whether the past reaches back ``last_s`` seconds."""
        return bool(self._steps) and bool(
            self._steps[-1].seconds[-1] - self._steps[0].seconds[0] >= last_s
        )

    def climb_n_per_s(self, over_s: float) -> float:
        """Return the change of specimen force per second over the last ``over_s`` seconds."""
        steps = self._since(over_s)
        if not steps:
            return 0.0
        first, last = steps[0], steps[-1]
        span_s = last.seconds[-1] - first.seconds[0]
        rise_n = last.forces.at_specimen_n[-1] - first.forces.at_specimen_n[0]
        return float(rise_n / span_s) if span_s > 0 else 0.0

    def rate_per_s(self, over_s: float) -> float:
        """Return samples per second over the last ``over_s`` seconds."""
        steps = self._since(over_s)
        if not steps:
            return 0.0
        count = sum(len(step.seconds) for step in steps)
        span_s = steps[-1].seconds[-1] - steps[0].seconds[0]
        return float((count - 1) / span_s) if span_s > 0 else 0.0

    def _since(self, last_s: float) -> list[Step]:
        """Return the newest steps that reach back ``last_s`` seconds, oldest first."""
        if not self._steps:
            return []
        start_s = self._steps[-1].seconds[-1] - last_s
        newest = takewhile(lambda step: step.seconds[-1] >= start_s, reversed(self._steps))
        return list(newest)[::-1]
