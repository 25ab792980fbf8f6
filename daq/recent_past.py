"""The last seconds of a session: kept for the start of a pull, for the zero, for the climb."""

from bisect import bisect_left

import numpy as np

from daq.live_chain import Step
from daq.samples import FloatArray

KEEP_S = 15.0
DROP_STEPS = 64


class RecentPast:
    """The steps of the last KEEP_S seconds, oldest first; what is asked of them costs no walk."""

    def __init__(self, cells: int) -> None:
        self._cells = cells
        self.clear()

    def clear(self) -> None:
        """Forget everything: the clock or the counts started anew."""
        self._steps: list[Step] = []
        self._ends_s: list[float] = []  # the last time of each step; they never fall
        self._counted: list[int] = []  # samples up to the end of each step
        self._oldest = 0  # steps before this one are too old, and dropped many at a time

    def add(self, step: Step) -> None:
        """Take a step and drop what is older than KEEP_S."""
        if not len(step.seconds):
            return
        end_s = float(step.seconds[-1])
        self._steps.append(step)
        self._ends_s.append(end_s)
        self._counted.append((self._counted[-1] if self._counted else 0) + len(step.seconds))
        self._oldest = bisect_left(self._ends_s, end_s - KEEP_S, self._oldest)
        if self._oldest > DROP_STEPS:
            for kept in (self._steps, self._ends_s, self._counted):
                del kept[: self._oldest]
            self._oldest = 0

    def samples(self) -> list[np.ndarray]:
        """Return the blocks of samples, oldest first."""
        return [step.samples for step in self._steps[self._oldest :]]

    def counts(self, last_s: float) -> tuple[np.ndarray, FloatArray]:
        """Return counts (n, cells) and seconds (n,) of the last ``last_s`` seconds."""
        if not self._steps:
            return np.empty((0, self._cells), np.int32), np.empty(0)
        steps = self._steps[self._since(last_s) :]
        seconds = np.concatenate([step.seconds for step in steps])
        counts = np.concatenate([step.samples["counts"] for step in steps])
        recent = seconds >= seconds[-1] - last_s
        return counts[recent], seconds[recent]

    def covers(self, last_s: float) -> bool:
        """Whether the past reaches back ``last_s`` seconds."""
        return bool(self._steps) and (
            self._ends_s[-1] - float(self._steps[self._oldest].seconds[0]) >= last_s
        )

    def climb_n_per_s(self, over_s: float) -> float:
        """Return the change of specimen force per second over the last ``over_s`` seconds."""
        if not self._steps:
            return 0.0
        first, last = self._steps[self._since(over_s)], self._steps[-1]
        span_s = self._ends_s[-1] - float(first.seconds[0])
        rise_n = float(last.forces.at_specimen_n[-1]) - float(first.forces.at_specimen_n[0])
        return rise_n / span_s if span_s > 0 else 0.0

    def rate_per_s(self, over_s: float) -> float:
        """Return samples per second over the last ``over_s`` seconds."""
        if not self._steps:
            return 0.0
        at = self._since(over_s)
        first = self._steps[at]
        count = self._counted[-1] - self._counted[at] + len(first.seconds)
        span_s = self._ends_s[-1] - float(first.seconds[0])
        return (count - 1) / span_s if span_s > 0 else 0.0

    def _since(self, last_s: float) -> int:
        """Return where the steps begin that reach back ``last_s`` seconds (there is one)."""
        return bisect_left(self._ends_s, self._ends_s[-1] - last_s, self._oldest)
