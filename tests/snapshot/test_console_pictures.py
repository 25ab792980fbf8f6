"""A few whole pictures: characters, colours and weights of an exported screenshot, kept as SVG.

They can be looked at in any browser; PULLSTAND_STORE_SCREENS=1 writes them anew.
"""

import asyncio
import os
import re
from pathlib import Path

import pytest

from tui.around import Around
from tui.console import Console
from tui.pace import Wanted
from tui.settings import Settings

STORED = Path(__file__).parent / "pictures"
UNSAID = {"#c5c8c6", "#292929"}  # what the exporter draws where no colour is said


def picture(session, size, theme) -> str:
    """Return the exported screenshot without what changes from run to run, and without fonts."""

    async def exported() -> str:
        around = Around(settings=Settings(theme=theme))
        wanted = Wanted(expected_n=4500.0)
        app = Console(session, wanted=wanted, cautions=False, looks_per_s=0, around=around)
        async with app.run_test(size=size) as pilot:
            app.look()
            await pilot.pause()
            app.look()
            await pilot.pause()
            return app.export_screenshot()

    svg = re.sub(r"terminal-\d+", "screen", asyncio.run(exported()))
    svg = re.sub(r"@font-face \{.*?\}|<!--.*?-->", "", svg, flags=re.DOTALL)
    return "\n".join(line.rstrip() for line in svg.splitlines() if line.strip()) + "\n"


@pytest.mark.parametrize(
    ("state", "size", "theme"),
    [
        ("rising", (120, 40), "dark"),
        ("near", (80, 24), "light"),
        ("stop", (80, 24), "light"),
        ("unknown", (80, 24), "dark"),
        ("loaded", (80, 24), "plain"),
    ],
)
def test_a_whole_picture_looks_as_stored(state, size, theme, in_state, monkeypatch):
    if theme == "plain":
        monkeypatch.setenv("NO_COLOR", "1")
    else:
        monkeypatch.delenv("NO_COLOR", raising=False)
    seen = picture(in_state(state), size, "dark" if theme == "plain" else theme)
    stored = STORED / f"{state}-{theme}-{size[0]}x{size[1]}.svg"
    if os.environ.get("PULLSTAND_STORE_SCREENS"):
        STORED.mkdir(exist_ok=True)
        stored.write_text(seen, encoding="utf-8")
    assert seen == stored.read_text(encoding="utf-8")


def test_without_colour_a_picture_has_none(in_state, monkeypatch):
    """https://no-color.org: NO_COLOR, present and not empty, stops the adding of colour."""
    monkeypatch.setenv("NO_COLOR", "1")
    svg = picture(in_state("stop"), (80, 24), "dark")
    assert set(re.findall(r"-r\d+ \{ fill: (#\w+)", svg)) <= UNSAID
