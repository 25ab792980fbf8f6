"""The console's own cost: a frame of a long pull against one of a short, and its share of a core.

Both run the real console at 120x40 without a terminal: look, draw, compose the screen.
"""

import asyncio
import statistics
import time
from dataclasses import replace

import numpy as np

from benchmarks.table import Row, print_rows
from daq.live_reading import CellReading, LiveReading, Phase, TraceBlock
from tui.console import Console
from tui.pace import Wanted
from tui.session import empty_block

RATE = 93.1
FRAMES = 60
ROUNDS = 7
WATCHED_S = 8.0
SIZE = (120, 40)


class Playing:
    """A session of as many samples as wanted, without an end."""

    ended_because = None

    def __init__(self, samples: int) -> None:
        self.samples = samples
        self.taken = 0

    def latest(self) -> LiveReading:
        """Return the reading at the newest sample."""
        seconds = self.samples / RATE
        force_n = 3000.0 + 900.0 * np.sin(seconds / 40)
        cells = (CellReading("left", force_n / 4, 1961.0, 0.5),) * 2
        return replace(
            TEMPLATE,
            host_ns=time.monotonic_ns(),
            force_n=force_n,
            at_cells_n=force_n / 2,
            cells=cells,
            samples=self.samples,
            pull_elapsed_s=seconds,
        )

    def take_trace(self) -> TraceBlock:
        """Return the samples since the last call."""
        if self.taken >= self.samples:
            return empty_block()
        index = np.arange(self.taken, self.samples)
        self.taken = self.samples
        force_n = 3000.0 + 900.0 * np.sin(index / RATE / 40) + 5.0 * np.sin(1.7 * index)
        return TraceBlock(index / RATE, force_n, np.zeros(index.size, np.uint16))


TEMPLATE = LiveReading(
    host_ns=0,
    live=True,
    unknown_because="",
    force_n=0.0,
    at_cells_n=0.0,
    ratio=2.0,
    cells=(),
    climb_n_per_s=48.0,
    maximum_n=3900.0,
    median3_maximum_n=3900.0,
    phase=Phase.RISING,
    pull_number=1,
    pull_elapsed_s=0.0,
    stop_n=6200.0,
    warn_n=5200.0,
    trip=None,
    still_loaded=False,
    extrapolated=False,
    zeroed=True,
    zero_note="",
    samples=0,
    samples_per_s=RATE,
)


def run() -> list[Row]:
    """Return the cost of a frame at 1e3 and 1e7 samples side by side, and the share of a core."""
    return asyncio.run(_run())


async def _run() -> list[Row]:
    short, long = _console(1_000), _console(10_000_000)
    async with short.run_test(size=SIZE), long.run_test(size=SIZE):
        times = [(_frames(short), _frames(long)) for _ in range(ROUNDS)]
    brief, lengthy = (statistics.median(column) for column in zip(*times, strict=True))
    return [
        Row(
            name="frame of a pull of 1e7 samples",
            ours=f"{1e3 * lengthy:.2f} ms CPU",
            other=f"{1e3 * brief:.2f} ms at 1e3 samples",
            ratio=lengthy / brief,
            goal="< 1.5",
            note=f"{ROUNDS} rounds of {FRAMES} frames, in turn",
        ),
        await _share_of_a_core(),
    ]


def _console(samples: int) -> Console:
    return Console(
        Playing(samples),  # type: ignore[arg-type]
        wanted=Wanted(4500.0),
        cautions=False,
        looks_per_s=0,
    )


def _frames(app: Console) -> float:
    """Return CPU seconds a frame: look, draw, compose what changed."""
    session = app.session
    assert isinstance(session, Playing)
    app.look()
    begun = time.process_time()
    for _ in range(FRAMES):
        session.samples += 6
        app.look()
        app.live._compositor.render_update(full=True)
    return (time.process_time() - begun) / FRAMES


async def _share_of_a_core() -> Row:
    session = Playing(10_000)
    app = Console(session, wanted=Wanted(4500.0), cautions=False)  # type: ignore[arg-type]
    async with app.run_test(size=SIZE) as pilot:
        await pilot.pause()
        begun, cpu = time.monotonic(), time.process_time()
        while time.monotonic() - begun < WATCHED_S:
            session.samples += 6
            await asyncio.sleep(6 / RATE)
        share = (time.process_time() - cpu) / (time.monotonic() - begun)
    return Row(
        name="console at 93 samples/s, 15 looks/s",
        ours=f"{100 * share:.1f} % of a core",
        ratio=share / 0.10,
        goal="< 1 (10 % of a core)",
    )


if __name__ == "__main__":
    print_rows(run())
