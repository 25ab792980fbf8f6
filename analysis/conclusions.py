"""What two sets of results say about the same questions: before and after a correction."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from analysis.comparison import compare
from analysis.groups import Level, level_at
from analysis.pull_result import PullResult
from analysis.verdict import PairVerdict
from daq.faults import InputFault

#: Entries that tell pulls apart without being a setting.
_NOT_VARIED = (
    *("label", "run", "series", "board", "replicate", "data"),
    *("density_kg_m3", "moisture_pct", "drill"),
)
_BOARD = "board"
_MOST_LEVELS = 8


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

    An entry counts as a factor where it takes 2 to 8 levels with two pulls each at least; boards
    are blocks where every board holds two levels.
    """
    found = []
    for series in sorted({_series(result) for result in before}):
        old = [result for result in before if _series(result) == series]
        new = [result for result in after if _series(result) == series]
        for by in _factors(old):
            block = _BOARD if _crossed(old, by) else None
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


def _factors(results: Sequence[PullResult]) -> list[str]:
    """Return what was varied; of entries that part the pulls alike only the first."""
    keys = dict.fromkeys(key for result in results for key in result.specimen)
    parted: dict[tuple[int, ...], str] = {}
    for key in keys:
        if key not in _NOT_VARIED and _is_factor(results, key):
            levels = [level_at(result, key) for result in results]
            parted.setdefault(tuple(map(levels.index, levels)), key)
    return list(parted.values())


def _is_factor(results: Sequence[PullResult], key: str) -> bool:
    levels = [level_at(result, key) for result in results if result.valid]
    numbers = {level: levels.count(level) for level in levels if level is not None}
    return 2 <= len(numbers) <= _MOST_LEVELS and min(numbers.values()) >= 2


def _crossed(results: Sequence[PullResult], by: str) -> bool:
    """Whether every board holds two levels of ``by`` at least."""
    held: dict[Level | None, set[Level | None]] = {}
    for result in results:
        if result.valid:
            held.setdefault(level_at(result, _BOARD), set()).add(level_at(result, by))
    return None not in held and len(held) > 1 and all(len(levels) > 1 for levels in held.values())
