"""Every state of the console at three sizes, as the lines of text a person sees.

The screens are compared with stored text; PULLSTAND_STORE_SCREENS=1 writes them anew, to be looked
at before they are committed.
"""

import asyncio
import html
import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

from daq.live_reading import Phase, Recording, RecordingState, Trip
from tui.console import Console
from tui.key_table import ENDED, KEYS, TRIPPED, At, known_at, shown_key
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
        if keys:
            await pilot.press(*keys)
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
          "parted", "faults", "no-zero", "wound-back")  # fmt: skip


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("state", STATES)
def test_state_looks_as_stored(state, size, in_state):
    compare(f"{state}-{size[0]}x{size[1]}", asyncio.run(rendered(in_state(state), size)))


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_help_looks_as_stored(size, in_state):
    compare(f"help-{size[0]}x{size[1]}", asyncio.run(rendered(in_state("rising"), size, keys="h")))


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_cautions_look_as_stored(size, in_state):
    lines = asyncio.run(rendered(in_state("slack"), size, cautions=True))
    compare(f"cautions-{size[0]}x{size[1]}", lines)


def numeral_rows(lines: list[str]) -> int:
    """Return how many rows in a row hold block numerals below the top line."""
    rows = 0
    for line in lines[1:]:
        if not set(line) & set("█▀▄") or "room left" in line:
            break
        rows += 1
    return rows


@pytest.mark.parametrize(
    ("size", "least"),
    # Force 50-80 mm tall for 2-3 m (common practice, no source): 10 rows of 7 mm and more.
    [((80, 24), 5), ((120, 40), 10), ((200, 50), 15)],
)
def test_numerals_are_tall(size, least, in_state):
    for state in ("rising", "near", "slack"):
        assert numeral_rows(asyncio.run(rendered(in_state(state), size))) >= least


@pytest.mark.parametrize("unit", ["kN", "N", "kgf", "lbf"])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_every_unit_stays_tall(unit, size, in_state):
    assert numeral_rows(asyncio.run(rendered(in_state("rising"), size, unit=unit))) >= 5


def test_numerals_do_not_jump_sideways(in_state):
    """The unit stands in one place whatever the digits."""
    places = set()
    for state in ("slack", "rising", "near", "close"):
        lines = asyncio.run(rendered(in_state(state), (120, 40)))
        places.add(max(len(line) for line in lines[1 : numeral_rows(lines)]))
    assert len(places) == 1


@pytest.mark.parametrize("size", [(59, 24), (80, 15), (30, 8), (20, 4)])
def test_too_small_says_so_and_shows_the_force(size, in_state):
    text = "\n".join(asyncio.run(rendered(in_state("rising"), size)))
    assert "2.31 kN" in text
    assert "too small" in text


@pytest.mark.parametrize("state", ["stop", "unknown", "loaded"])
def test_too_small_still_warns(state, in_state):
    text = "\n".join(asyncio.run(rendered(in_state(state), (40, 6))))
    said = {"stop": "STOP", "unknown": "FORCE UNKNOWN", "loaded": "DO NOT REACH IN"}
    assert said[state] in text


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_unknown_shows_no_force_at_all(size, in_state):
    session = in_state("rising")
    session.behind_s = 1.4
    text = "\n".join(asyncio.run(rendered(session, size)))
    assert "no reading for 1 s" in text
    assert "2.31 kN" not in text


def test_keys_in_footer_and_help_are_the_table(in_state):
    size = (200, 50)
    foot = asyncio.run(rendered(in_state("slack"), (240, 50), cautions=True))[-1]
    pages = [asyncio.run(rendered(in_state("slack"), size, keys=keys)) for keys in ("h", "hh")]
    for key in known_at(KEYS, At.RIG):
        shown = f" {shown_key(key.key)}  {key.label} " in foot + " "
        assert shown is (key.foot and key.when not in (TRIPPED, ENDED))
        assert any(key.label in line and key.help in line for page in pages for line in page)


def test_help_fits_80_columns(in_state):
    for keys in ("h", "hh"):
        page = asyncio.run(rendered(in_state("rising"), (80, 24), keys=keys))
        assert not any("…" in line for line in page[6:])
        assert len(page[23]) > 0  # the footer is not pushed off


GONE = Trip("silence", 8123, float("nan"), "the board on /dev/ttyUSB0 went away")
FAULTED = RecordingState(Recording.FAULT, "D-07.h5", "Only 19 MB left in pulls", 19_000_000)
FULL = Trip("recorder fault", 1, float("nan"), FAULTED.message)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {"live": False, "unknown_because": GONE.message, "trip": GONE, "zeroed": False},
            ("went away", "plug it in again", "latched: a releases it"),
        ),
        (
            {
                "live": False,
                "unknown_because": "a converter is at its end",
                "trip": Trip("saturated", 1, 6100.0, "a converter is at its end: force unknown"),
            },
            ("a converter is at its end", "stop latched"),
        ),
        (
            {
                "live": False,
                "unknown_because": "no zero taken: hook slack, hands off, then zero",
                "phase": Phase.SLACK,
                "zeroed": False,
                "trip": Trip("board restart", 1, 0.0, "the board restarted: take the zero again"),
            },
            ("no zero taken", "z takes the zero", "the board restarted"),
        ),
        (
            {
                "trip": Trip("recorder fault", 1, float("nan"), FAULTED.message),
                "recording": FAULTED,
            },
            ("NOT RECORDING", "Only 19 MB left in pulls", "disk 19 MB left"),
        ),
        (
            {
                "live": False,
                "unknown_because": "/dev/ttyUSB0 is busy: close the other program",
                "samples": 0,
                "samples_per_s": float("nan"),
                "zeroed": False,
                "phase": Phase.SLACK,
                "pull_number": 0,
            },
            ("is busy: close the other program", "l sets the link up", "l link"),
        ),
        (
            {"gaps": 2, "lost_samples": 31, "bad_lines": {"garbled": 3}},
            ("3 bad lines (3 garbled)", "2 gaps (31 samples lost)"),
        ),
    ],
    ids=["unplugged", "saturated", "restart", "disk full", "busy", "garbled"],
)
def test_trouble_says_what_is_wrong_and_what_to_do(in_state, changes, words):
    session = in_state("rising")
    unknown = {"force_n": float("nan")} if not changes.get("live", True) else {}
    session.reading = replace(session.reading, **changes, **unknown)
    session.moving = False
    for size in SIZES:
        text = " ".join(" ".join(asyncio.run(rendered(session, size))).split())
        for word in words:
            assert word in text, size


def test_unconfirmed_cautions_give_way_to_a_load(in_state):
    text = "\n".join(asyncio.run(rendered(in_state("rising"), (120, 40), cautions=True)))
    assert "whole pull" in text and "Before the first pull" not in text
    assert "Before the first pull" in "\n".join(
        asyncio.run(rendered(in_state("slack"), (120, 40), cautions=True))
    )


def test_without_weights_the_number_says_so_calmly(in_state):
    session = in_state("near")
    session.reading = replace(session.reading, verified=False)
    text = "\n".join(asyncio.run(rendered(session, (200, 50))))
    assert "no weights behind this number" in text and "BEYOND" not in text
