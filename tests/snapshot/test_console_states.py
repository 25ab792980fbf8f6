"""Every state of the console at three sizes, as the lines of text a person sees.

The screens are compared with stored text; PULLSTAND_STORE_SCREENS=1 writes them anew, to be looked
at before they are committed.
"""

import asyncio
import html
import os
import re
from pathlib import Path

import pytest

from tui.console import Console
from tui.pace import Wanted

STORED = Path(__file__).parent / "screens"
SIZES = ((80, 24), (120, 40), (200, 50))
CELL_WIDTH, LINE_HEIGHT = 12.2, 24.4  # of one character in an exported picture


def lines_of(svg: str, size: tuple[int, int]) -> list[str]:
    """Return the text lines of an exported screenshot."""
    width, height = size
    grid = [[" "] * width for _ in range(height)]
    for x, line, text in re.findall(
        r'<text [^>]*x="([\d.]+)"[^>]*-line-(\d+)\)"[^>]*>([^<]*)</text>', svg
    ):
        start = round(float(x) / CELL_WIDTH)
        for at, character in enumerate(html.unescape(text).rstrip("\n").replace("\xa0", " ")):
            grid[int(line)][start + at] = character
    return ["".join(row).rstrip() for row in grid]


async def rendered(session, size, *, keys=(), cautions=False, **options) -> list[str]:
    wanted = Wanted(expected_n=4500.0)
    app = Console(session, wanted=wanted, cautions=cautions, looks_per_s=0, **options)
    async with app.run_test(size=size) as pilot:
        app.look()
        for key in keys:
            await pilot.press(key)
        app.look()
        await pilot.pause()
        return lines_of(app.export_screenshot(), size)


def compare(name: str, lines: list[str]) -> None:
    stored = STORED / f"{name}.txt"
    if os.environ.get("PULLSTAND_STORE_SCREENS"):
        STORED.mkdir(exist_ok=True)
        stored.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "\n".join(lines) + "\n" == stored.read_text(encoding="utf-8")


STATES = ("slack", "rising", "resting", "near", "close", "stop", "unknown", "falling", "loaded",
          "parted", "faults")  # fmt: skip


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("state", STATES)
def test_state_looks_as_stored(state, size, in_state):
    lines = asyncio.run(rendered(in_state(state), size))
    compare(f"{state}-{size[0]}x{size[1]}", lines)
