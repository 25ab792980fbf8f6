"""A simulated board, served: in this process (``run_board``) or in one of its own (``serve``)."""

import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from simulators.faults import FaultOrder, read_fault
from simulators.pty_board import PlayingBoard, linked, open_port
from simulators.scenario import ScenarioError, load_scenario, refuse_seed
from simulators.simulated_rig import DEMO_RIG_FILE, SimulatedRig, load_simulated_rig
from simulators.simulation import Simulation, simulate
from simulators.transmission import transmit, wire_for
from simulators.truth import Truth, write_truth
from simulators.weights import WeightsOrder, simulate_weights

GRACE_S = 10.0


@dataclass(frozen=True, slots=True)
class BoardOrder:
    """What to serve. ``faults``: ``NAME`` or ``NAME@SECONDS``, or a ``FaultOrder`` each.

    With ``weights`` known weights are put on instead of a pull, whatever ``scenario`` says.
    """

    scenario: str
    seed: int = 0
    pulls: int = 1
    speed: float = 1.0
    faults: tuple[str | FaultOrder, ...] = ()
    wire_format: str | None = None
    checksum: str | None = None
    rig_file: Path = DEMO_RIG_FILE
    link: Path | None = None
    truth: Path | None = None
    weights: WeightsOrder | None = None


@dataclass(frozen=True, slots=True)
class Announcement:
    """Said as soon as the port can be opened."""

    port: str
    link: str | None
    rig_file: str
    scenario: str
    seed: int
    pulls: int
    speed: float
    wire_format: str
    faults: tuple[str, ...]
    duration_s: float
    samples: int


def run_board(order: BoardOrder, announce: Callable[[Announcement], None]) -> Truth:
    """Serve a board until its script is over. Raises ScenarioError.

    KeyboardInterrupt (Ctrl-C, or a signal made one) ends it early; the truth is written first.
    """
    refuse_senseless(order)
    rig = load_simulated_rig(order.rig_file)
    simulation = _simulated(order, rig)
    wire = wire_for(simulation, order.wire_format, order.checksum)
    faults = [read_fault(fault) if isinstance(fault, str) else fault for fault in order.faults]
    transmission = transmit(simulation, wire, faults)
    port = open_port()
    board = PlayingBoard(port, transmission, order.speed)
    truth = replace(simulation.truth, faults=transmission.faults)
    try:
        with linked(port, order.link):
            announce(_announcement(order, port.name, truth, simulation.samples))
            board.run()
    finally:
        truth = replace(truth, delivery=board.delivery)
        if order.truth is not None:
            write_truth(order.truth, truth)  # before hanging up: a reader may look for it at once
        port.close()
    return truth


def refuse_senseless(order: BoardOrder) -> None:
    """Raise ScenarioError for an order that no board can be made of."""
    if not order.speed > 0.0:
        raise ScenarioError(f"cannot play at speed {order.speed:g}; it must be above zero")
    refuse_seed(order.seed)
    if order.weights is None:
        load_scenario(order.scenario)


def _simulated(order: BoardOrder, rig: SimulatedRig) -> Simulation:
    if order.weights is None:
        return simulate(order.scenario, order.seed, order.pulls, rig)
    if order.faults:
        raise ScenarioError("faults are put into pulls, not into rounds of weights")
    return simulate_weights(order.weights, order.seed, rig)


def _announcement(order: BoardOrder, port: str, truth: Truth, samples: int) -> Announcement:
    rig = load_simulated_rig(order.rig_file)
    return Announcement(
        port=port,
        link=None if order.link is None else str(order.link),
        rig_file=str(order.rig_file),
        scenario=truth.scenario,
        seed=order.seed,
        pulls=len(truth.pulls),
        speed=order.speed,
        wire_format=order.wire_format or rig.wire_format,
        faults=tuple(f if isinstance(f, str) else f.kind for f in order.faults),
        duration_s=truth.duration_s,
        samples=samples,
    )


@contextmanager
def interrupted_by_terminate() -> Iterator[None]:
    """Let a polite request to end (SIGTERM) do what Ctrl-C does, as long as this lasts."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


class ServedBoard:
    """A board in a process of its own."""

    def __init__(self, process: subprocess.Popen[str], truth_file: Path) -> None:
        self._process = process
        self._truth_file = truth_file
        first = process.stdout.readline() if process.stdout else ""
        self.announcement: dict[str, Any] = json.loads(first) if first else {}
        if not first:
            process.wait(GRACE_S)
            raise ScenarioError("the simulated board did not start; its complaint is on stderr")
        self.port: str = self.announcement["port"]

    def wait(self, seconds: float) -> dict[str, Any]:
        """Wait for the end of the script and return the truth. Raises subprocess.TimeoutExpired."""
        self._process.wait(seconds)
        return self.truth

    @property
    def truth(self) -> dict[str, Any]:
        """The truth file's content, once the board has ended; ends it when it has not."""
        self.close()
        document: dict[str, Any] = json.loads(self._truth_file.read_text(encoding="utf-8"))
        return document

    def close(self) -> None:
        """End the board, politely first."""
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(GRACE_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait(GRACE_S)


@contextmanager
def serve(order: BoardOrder) -> Iterator[ServedBoard]:
    """Serve a board from a process of its own: ``with serve(BoardOrder("split")) as board: ...``.

    ``board.port`` can be opened at once; ``board.wait(s)`` waits for the end of the script;
    ``board.truth`` ends the board and tells what was true. Raises ScenarioError.
    """
    refuse_senseless(order)
    with tempfile.TemporaryDirectory(prefix="pullstand-board-") as folder:
        truth_file = order.truth or Path(folder) / "truth.json"
        told = json.dumps(asdict(replace(order, truth=truth_file)), default=str)
        here = str(Path(__file__).parent.parent)
        path = os.pathsep.join(filter(None, [here, os.environ.get("PYTHONPATH")]))
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "simulators.serving", told],
            stdout=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "PYTHONPATH": path},
        )
        try:
            board = ServedBoard(process, truth_file)
            try:
                yield board
            finally:
                board.close()
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
            if process.stdout:
                process.stdout.close()


def _told(text: str) -> BoardOrder:
    table = json.loads(text)
    for key in ("rig_file", "link", "truth"):
        table[key] = None if table[key] is None else Path(table[key])
    if weights := table.pop("weights"):
        masses = tuple(weights.pop("masses_kg"))
        table["weights"] = WeightsOrder(masses, **weights)
    faults = (f if isinstance(f, str) else FaultOrder(**f) for f in table.pop("faults"))
    return BoardOrder(**table, faults=tuple(faults))


def _main() -> None:
    def announce(announcement: Announcement) -> None:
        sys.stdout.write(json.dumps(asdict(announcement)) + "\n")
        sys.stdout.flush()

    try:
        with interrupted_by_terminate():
            run_board(_told(sys.argv[1]), announce)
    except KeyboardInterrupt:
        sys.exit(130)
    except ScenarioError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    _main()
