"""Are the verdicts honest? Simulated campaigns: how often chance is called an effect, and how often
an interval holds the truth, beside the plain way (no boards, stopped pulls taken as failures)."""

import json
import subprocess
import sys
from collections import Counter

from benchmarks.campaigns_child import SETTINGS, Setting
from benchmarks.table import Row, print_rows

CAMPAIGNS = 2000
PARTS = 2  # processes
CLAIMS_GOAL, HELD_GOAL = "4-6 %", "93-97 %"


def run() -> list[Row]:
    """Compare 2,000 campaigns of every setting."""
    return [row for place in range(len(SETTINGS)) for row in _rows(place)]


def _rows(place: int) -> list[Row]:
    setting, counts = SETTINGS[place], _tally(place)
    told = CAMPAIGNS - counts["untold"]
    note = f"{counts['untold']} of {CAMPAIGNS} not judged" if counts["untold"] else ""
    claims, plain = counts["claims"] / told, counts["plain_claims"] / told
    held, plain_held = counts["held"] / counts["pairs"], counts["plain_held"] / counts["pairs"]
    rows = [_row(setting, "intervals hold", held, plain_held, HELD_GOAL, note)]
    if not setting.effect_n:
        rows.insert(0, _row(setting, "false claims", claims, plain, CLAIMS_GOAL, note))
    return rows


def _row(setting: Setting, what: str, ours: float, plain: float, goal: str, note: str) -> Row:
    name = f"{what}: {setting.name}"
    return Row(name, f"{ours:.1%}", f"{plain:.1%}", ours / plain, goal, note)


def _tally(place: int) -> Counter[str]:
    children = [
        subprocess.Popen(
            [sys.executable, "-m", "benchmarks.campaigns_child", *map(str, arguments)],
            stdout=subprocess.PIPE,
            text=True,
        )
        for arguments in ((place, CAMPAIGNS // PARTS, 100 * place + part) for part in range(PARTS))
    ]
    total: Counter[str] = Counter()
    for child in children:
        text, _ = child.communicate()
        if child.returncode:
            raise RuntimeError(f"a simulation ended with {child.returncode}")
        total.update(json.loads(text))
    return total


if __name__ == "__main__":
    print_rows(run())
