"""Simulated campaigns with a known effect, compared; counts on stdout as JSON (campaigns.py)."""

import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.comparison import Comparison, compare
from analysis.pull_result import Kind, PullResult
from analysis.statistics.pairwise import games_howell
from analysis.verdict import Verdict

MEAN_N = 4000.0
SCATTER_N = 480.0  # COV 12 %
BOARD_SD_N = 320.0  # 8 %


@dataclass(frozen=True, slots=True)
class Setting:
    """How the campaigns of one row are made."""

    name: str
    levels: int
    boards: int  # 0: no boards
    holes: int  # of each level, per board
    stop_n: float = math.inf  # pulls stronger than this end whole
    effect_n: float = 0.0  # of the last level against the first


SETTINGS = (
    Setting("2 pilots x 8 pulls", 2, 0, 8),
    Setting("2 pilots x 5 boards x 2", 2, 5, 2),
    Setting("3 pilots x 5 boards x 2", 3, 5, 2),
    Setting("2 x 8, 20 % stopped whole", 2, 0, 8, 4400.0),
    Setting("2 x 5 boards x 2, 12 % stopped whole", 2, 5, 2, 4700.0),
    Setting("2 x 5 boards x 2, 40 % stopped whole", 2, 5, 2, 4150.0),
    Setting("2 x 8, stopped, true -500 N", 2, 0, 8, 4400.0, -500.0),
    Setting("2 x 5 boards x 2, stopped, true -500 N", 2, 5, 2, 4400.0, -500.0),
)


def campaign(setting: Setting, rng: np.random.Generator) -> list[PullResult]:
    """Return the pulls of one campaign."""
    boards = rng.normal(0, BOARD_SD_N, max(setting.boards, 1)) if setting.boards else [0.0]
    pulls = []
    for level in range(setting.levels):
        shift = setting.effect_n * level / (setting.levels - 1)
        for name, board in enumerate(boards):
            for force in MEAN_N + shift + board + rng.normal(0, SCATTER_N, setting.holes):
                specimen = {"pilot": float(level), "board": f"B{name}"}
                pulls.append(_pull(float(force), setting.stop_n, specimen))
    return pulls


def tally(setting: Setting, count: int, seed: int) -> dict[str, int]:
    """Return how often a difference was claimed and an interval held, by ours and the plain way."""
    rng = np.random.default_rng(seed)
    counts = dict.fromkeys(("untold", "claims", "held", "pairs", "plain_claims", "plain_held"), 0)
    for _ in range(count):
        pulls = campaign(setting, rng)
        found = compare(pulls, "pilot", "board" if setting.boards else None)
        _count(counts, found, pulls, setting)
    return counts


def _count(
    counts: dict[str, int], found: Comparison, pulls: list[PullResult], setting: Setting
) -> None:
    if any(pair.estimate is None for pair in found.pairs):
        counts["untold"] += 1
        return
    counts["claims"] += any(pair.verdict is Verdict.MATTERS for pair in found.pairs)
    plain = games_howell(
        [
            [pull.max_force_n for pull in pulls if pull.specimen["pilot"] == level]
            for level in range(setting.levels)
        ]
    )
    counts["plain_claims"] += any(pair.p < 0.05 for pair in plain)
    step = setting.effect_n / (setting.levels - 1)
    for ours, theirs in zip(found.pairs, plain, strict=True):
        true = step * (theirs.a - theirs.b)
        counts["pairs"] += 1
        counts["held"] += ours.ci95_n[0] <= true <= ours.ci95_n[1]
        counts["plain_held"] += theirs.ci95[0] <= true <= theirs.ci95[1]


def _pull(force_n: float, stop_n: float, specimen: dict[str, str | float]) -> PullResult:
    kind, nan = Kind.AT_LEAST if force_n > stop_n else Kind.FAILED, math.nan
    reached = min(force_n, stop_n)
    return PullResult(Path("simulated"), specimen, kind, "", reached, 10.0, 20.0, 80.0, nan, 0, nan)


if __name__ == "__main__":
    place, number, start = map(int, sys.argv[1:])
    json.dump(tally(SETTINGS[place], number, start), sys.stdout)
