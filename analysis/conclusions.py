"""What two sets of results say about the same questions: before and after a correction."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.comparison import compare
from analysis.groups import Level
from analysis.pull_result import PullResult
from analysis.questions import shared_board, varied
from analysis.verdict import PairVerdict
from daq.faults import InputFault


@dataclass(frozen=True, slots=True)
class Conclusion:
    """One pair of levels, judged before and after. Differences a - b in N."""

    series: str
    by: str
    a: Level
    b: Level
    before: str
    after: str
    before_n: float
    after_n: float

    @property
    def changed(self) -> bool:
        """Whether the verdict is another one."""
        return self.before != self.after


def conclusions(before: Sequence[PullResult], after: Sequence[PullResult]) -> list[Conclusion]:
    """Return every pair that both sets of results can be asked about, series by series.

    Every entry in which the pulls of a series differ is asked about (`analysis.questions`).
    """
    found = []
    for series in sorted({_series(result) for result in before}):
        old = [result for result in before if _series(result) == series]
        new = [result for result in after if _series(result) == series]
        for by in (keys[0] for keys in varied(old)):
            block = shared_board(old, by)
            try:
                pairs = compare(old, by, block).pairs, compare(new, by, block).pairs
            except InputFault:
                continue
            found += list(_both(series, by, *pairs))
    return found


def _both(
    series: str, by: str, before: Sequence[PairVerdict], after: Sequence[PairVerdict]
) -> Iterator[Conclusion]:
    late = {(pair.a, pair.b): pair for pair in after}
    for old in before:
        new = late.get((old.a, old.b))
        if new is not None:
            verdicts = old.verdict.value, new.verdict.value
            yield Conclusion(
                series, by, old.a, old.b, *verdicts, old.difference_n, new.difference_n
            )


def _series(result: PullResult) -> str:
    return str(result.specimen.get("series", ""))
