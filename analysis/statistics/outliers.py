"""Values to look at: a flag is a question for the curve and the photo, and removes no pull."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.summary import mean_and_squares

#: Dixon's gap / range, one tail 2.5 % (two-sided 5 %), n: critical value. Computed by quadrature;
#: printed two-sided 95 % values (Anal. Chem. 63 (1991) 139) agree within 0.003.
DIXON_5_PERCENT = {3: 0.9702, 4: 0.8298, 5: 0.7102, 6: 0.6275, 7: 0.5690}
FROM_ESD = 25  # Rosner's approximation holds from here on (NIST e-Handbook 1.3.5.17.3)
MOST_FLAGS = 10


@dataclass(frozen=True, slots=True)
class Verdict:
    """One test of one suspected value."""

    index: int  # place of the suspect
    statistic: float
    critical: float

    @property
    def flagged(self) -> bool:
        """Whether the value stands further out than chance explains at 5 %."""
        return self.statistic > self.critical


def suspects(values: ArrayLike) -> tuple[int, ...]:
    """Return the places of values that stand out at 5 %: Dixon to n = 7, Grubbs, from 25 on ESD."""
    x = np.asarray(values, dtype=np.float64)
    if x.size < min(DIXON_5_PERCENT) or np.ptp(x) == 0:
        return ()
    if x.size in DIXON_5_PERCENT:
        found = dixon(x)
        return (found.index,) if found.flagged else ()
    if x.size < FROM_ESD:
        found = grubbs(x)
        return (found.index,) if found.flagged else ()
    steps = extreme_deviates(x, min(MOST_FLAGS, x.size // 10))
    last = max((i for i, step in enumerate(steps) if step.flagged), default=-1)
    return tuple(sorted(step.index for step in steps[: last + 1]))


def grubbs(values: ArrayLike, alpha: float = 0.05, *, two_sided: bool = True) -> Verdict:
    """Return Grubbs' test of the value farthest from the mean (NIST e-Handbook 1.3.5.17.1)."""
    x = np.asarray(values, dtype=np.float64)
    index, deviate = _farthest(x)
    return Verdict(index, deviate, _critical(x.size, alpha / 2 if two_sided else alpha))


def extreme_deviates(values: ArrayLike, most: int, alpha: float = 0.05) -> tuple[Verdict, ...]:
    """Return the steps of the generalised extreme studentized deviate test.

    The number of outliers is that of the last flagged step (NIST e-Handbook 1.3.5.17.3, Rosner).
    """
    x = np.asarray(values, dtype=np.float64)
    places = np.arange(x.size)
    steps = []
    for _ in range(min(most, x.size - 3)):
        kept = x[places]
        if np.ptp(kept) == 0:
            break
        index, deviate = _farthest(kept)
        steps.append(Verdict(int(places[index]), deviate, _critical(kept.size, alpha / 2)))
        places = np.delete(places, index)
    return tuple(steps)


def dixon(values: ArrayLike) -> Verdict:
    """Return Dixon's gap / range of the worse end, 3 to 7 values, two-sided 5 %."""
    x = np.asarray(values, dtype=np.float64)
    order = np.argsort(x, kind="stable")
    ranked = x[order]
    gaps = (ranked[1] - ranked[0], ranked[-1] - ranked[-2])
    top = bool(gaps[1] > gaps[0])
    statistic = float(max(gaps) / (ranked[-1] - ranked[0]))
    return Verdict(int(order[-1 if top else 0]), statistic, DIXON_5_PERCENT[x.size])


def _farthest(x: np.ndarray) -> tuple[int, float]:
    mean, squares = mean_and_squares(x)
    index = int(np.argmax(np.abs(x - mean)))
    return index, abs(float(x[index]) - mean) / math.sqrt(squares / (x.size - 1))


def _critical(n: int, alpha: float) -> float:
    from scipy import special

    t = float(special.stdtrit(n - 2, 1 - alpha / n))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))
