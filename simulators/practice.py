"""A simulated rig that a person cranks: each word on stdin turns the crank, counts go on the port.

    turn 0.25      a quarter turn (back: negative)
    fresh          a new specimen, if the crank is wound back

The process ends when its stdin does. Mechanics, converter and wire are those of the scenarios.
"""

import json
import math
import os
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from simulators.amplifier import converted, draw_board
from simulators.pty_board import LOOK_S, Port, open_port
from simulators.rig_mechanics import LoadedRig, draw_rig
from simulators.scenario import Scenario, ScenarioError, load_scenario, refuse_seed
from simulators.simulated_rig import SimulatedRig, load_simulated_rig
from simulators.specimen import draw_specimen
from simulators.transmission import BANNER
from simulators.wire_encoder import TextWire

TURNS_PER_S = 0.25 / 1.6  # how fast a hand turns
STEP_S = 0.003
SHORTEST_S = 1e-5
PAST_SAMPLES = 6  # the converter settles over four
BOOT_S = 0.15
GRACE_S = 5.0
WOUND_BACK = 1e-9

Words = queue.Queue[str | None]  # lines of stdin; None: no more


class PracticeRig:
    """The rig under a person's hand: words in, counts out, one sample at a time. Seconds, turns."""

    def __init__(self, scenario: Scenario, rig: SimulatedRig, seed: int) -> None:
        self._scenario, self._rig = scenario, rig
        self._rng = np.random.default_rng(seed)
        slopes = zip(rig.signs, rig.counts_per_newton, strict=True)
        self.board = draw_board(
            scenario.board, scenario.rig, tuple(s * c for s, c in slopes), self._rng
        )
        self.loaded = self._fresh()
        self._due_turns = 0.0
        self._past_n = [self.board.beam_weight_n] * (PAST_SAMPLES + 1)
        self._time_s = 0.0

    def _fresh(self) -> LoadedRig:
        build = draw_rig(self._scenario.rig, self._rig.ratio, self._rig.lead_mm, self._rng)
        return LoadedRig(build, draw_specimen(self._scenario.specimen, self._rng))

    def told(self, word: str) -> None:
        """Do what a line of stdin says; what makes no sense is passed over."""
        parts = word.split()
        if parts == ["fresh"] and self.loaded.turns <= WOUND_BACK:
            self.loaded = self._fresh()
        elif len(parts) == 2 and parts[0] == "turn":
            try:
                turns = float(parts[1])
            except ValueError:
                return
            if math.isfinite(turns):
                self._due_turns = max(0.0, self._due_turns + turns)

    def sample(self) -> tuple[int, list[int]]:
        """Let one period pass; return the board's clock (us) and the counts of the cells."""
        period_s = self.board.period_s
        cranking = self._turn(period_s)
        self._time_s += period_s
        at_jack = self.loaded.force_n / self._rig.ratio
        at_jack *= 1.0 + self.loaded.build.friction_share * self.loaded.friction
        self._past_n = [*self._past_n[1:], at_jack + self.board.beam_weight_n]
        at_s = self._time_s + period_s * np.arange(-PAST_SAMPLES, 1.0)
        counts = converted(
            self.board,
            at_s,
            np.array(self._past_n),
            np.full(len(at_s), float(cranking)),
            self._rig.stop_n / self._rig.ratio,
            at_s[-1:],
            self._rng,
        )
        return int(self._time_s * 1e6), counts[0].tolist()

    def _turn(self, seconds: float) -> bool:
        """Move the crank towards where it was told to be; return whether it moved."""
        start = self.loaded.turns
        most = TURNS_PER_S * seconds
        move = min(max(self._due_turns - start, -most), most)
        done_s = 0.0
        while done_s < seconds:
            step_s = max(min(STEP_S, self.loaded.longest_step_s()), SHORTEST_S)
            done_s = min(done_s + step_s, seconds)
            self.loaded.step(start + move * done_s / seconds, step_s)
        return move != 0.0


def play(port: Port, practice: PracticeRig, wire: TextWire, words: Words) -> None:
    """Send samples at true pace while somebody reads, until the words end."""
    number, next_s = 0, 0.0
    reading = False
    while True:
        while not words.empty():
            word = words.get()
            if word is None:
                return
            practice.told(word)
        if not port.has_reader():
            reading = False
            time.sleep(LOOK_S)
            continue
        if not reading:
            reading, next_s = True, time.monotonic() + BOOT_S
            time.sleep(BOOT_S)
            port.send(b"0,0\n" + wire.message(0, 0, BANNER.format(cells=len(wire.cells))))
        clock_us, counts = practice.sample()
        next_s += practice.board.period_s
        time.sleep(max(0.0, next_s - time.monotonic()))
        port.send(wire.sample(number, clock_us, counts))
        number += 1


class ServedPractice:
    """A practice rig in a process of its own; what it is told goes down a pipe."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        self._process = process
        first = process.stdout.readline() if process.stdout else ""
        if not first:
            raise ScenarioError("the simulated rig did not start; its complaint is on stderr")
        self.port: str = json.loads(first)["port"]

    def turn(self, turns: float) -> None:
        """Turn the crank; back: negative."""
        self._tell(f"turn {turns:g}")

    def fresh(self) -> None:
        """Put a new specimen in, if the crank is wound back."""
        self._tell("fresh")

    def _tell(self, words: str) -> None:
        if self._process.stdin is not None and self._process.poll() is None:
            self._process.stdin.write(words + "\n")
            self._process.stdin.flush()


@contextmanager
def serve_practice(scenario: str, seed: int = 0) -> Iterator[ServedPractice]:
    """Serve a practice rig from a process of its own: ``with serve_practice("split") as rig:``.

    Raises ScenarioError.
    """
    refuse_seed(seed)
    load_scenario(scenario)
    here = str(Path(__file__).parent.parent)
    path = os.pathsep.join(filter(None, [here, os.environ.get("PYTHONPATH")]))
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "simulators.practice", scenario, str(seed)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    try:
        yield ServedPractice(process)
    finally:
        process.terminate()
        try:
            process.wait(GRACE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(GRACE_S)
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                pipe.close()


def _listen(words: Words) -> None:
    for line in sys.stdin:
        words.put(line)
    words.put(None)


def _main() -> None:
    scenario, rig = load_scenario(sys.argv[1]), load_simulated_rig()
    practice = PracticeRig(scenario, rig, int(sys.argv[2]))
    wire = TextWire(rig.wire_fields, rig.cells, rig.separator, rig.checksum)
    words: Words = queue.Queue()
    threading.Thread(target=_listen, args=(words,), daemon=True).start()
    port = open_port()
    sys.stdout.write(json.dumps({"port": port.name}) + "\n")
    sys.stdout.flush()
    try:
        play(port, practice, wire, words)
    except KeyboardInterrupt:
        sys.exit(130)
    finally:
        port.close()


if __name__ == "__main__":
    _main()
