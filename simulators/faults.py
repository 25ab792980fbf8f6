"""Faults of board and cable, put in at a given moment or at moments drawn from the seed.

A ``FaultOrder`` asks; ``place`` turns orders into ``Placed`` faults at sample numbers.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from simulators.scenario import ScenarioError
from simulators.simulation import Simulation

#: Fault -> what it does.
FAULTS = {
    "first-line-cut": "the first line after opening has lost its first bytes",
    "restart": "the board starts again: banner, clock back to 0, the time it takes is not sampled",
    "missing": "lines that never arrive",
    "merged": "two lines without the line end between them",
    "garbled": "a byte exchanged: a letter for any byte, or a digit of a count for another digit",
    "spike": "single readings of -1, and one at full scale",
    "stall": "nothing for a while, then all of it at once; the board's clock is right",
    "silence": "nothing for a while, and what was meant to be sent is lost",
    "unplug": "the cable is pulled",
}
TIMES = {"missing": 8, "merged": 4, "garbled": 6, "spike": 3}
SECONDS = {"restart": 0.8, "stall": 0.4, "silence": 3.0}
APART = 8  # samples between two faults drawn from the seed


@dataclass(frozen=True, slots=True)
class FaultOrder:
    """One kind of fault. Without ``at_s`` or ``at_sample`` the moments are drawn from the seed.

    ``at_s`` counts from the start of the script; ``times`` is how often (``rate``: of the samples,
    instead); ``seconds`` how long a restart, stall or silence lasts.
    """

    kind: str
    at_s: float | None = None
    at_sample: int | None = None
    times: int | None = None
    rate: float | None = None
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class Placed:
    """One fault at one sample; ``variant`` numbers the faults of an order."""

    kind: str
    sample: int
    seconds: float = 0.0
    variant: int = 0


@dataclass(slots=True)
class _Ground:
    """Which samples are free, so that faults stay apart and can be counted."""

    taken: list[int] = field(default_factory=list)

    def is_free(self, sample: int) -> bool:
        return all(abs(sample - other) >= APART for other in self.taken)


def read_fault(text: str) -> FaultOrder:
    """Return the order that ``NAME`` or ``NAME@SECONDS`` asks for. Raises ScenarioError."""
    kind, _, moment = text.partition("@")
    _check_kind(kind)
    if not moment:
        return FaultOrder(kind)
    try:
        at_s = float(moment)
    except ValueError:
        raise ScenarioError(
            f'fault "{text}": after the @ comes a time in seconds, such as {kind}@12.5'
        ) from None
    return FaultOrder(kind, at_s=at_s)


def place(simulation: Simulation, orders: Sequence[FaultOrder], seed: int) -> tuple[Placed, ...]:
    """Return every fault at its sample, in order of time. Raises ScenarioError."""
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(3,))))
    ground = _Ground()
    placed: list[Placed] = []
    # what lasts takes its place first, so that nothing small is lost inside it
    for order in sorted(orders, key=lambda order: order.kind not in SECONDS):
        _check_kind(order.kind)
        placed += _placed(simulation, order, ground, rng)
    return tuple(sorted(placed, key=lambda fault: fault.sample))


def _check_kind(kind: str) -> None:
    if kind not in FAULTS:
        raise ScenarioError(f'there is no fault "{kind}"; there are: {", ".join(FAULTS)}')


def _placed(
    simulation: Simulation, order: FaultOrder, ground: _Ground, rng: np.random.Generator
) -> list[Placed]:
    seconds = SECONDS.get(order.kind, 0.0) if order.seconds is None else order.seconds
    if order.kind == "first-line-cut":
        return [Placed(order.kind, 0)]
    fixed = _fixed_sample(simulation, order)
    times = TIMES.get(order.kind, 1) if order.times is None else order.times
    if order.rate is not None:
        times = round(order.rate * simulation.samples)
    elif fixed is not None and order.times is None:
        times = 1
    lasting = round(seconds / simulation.board.period_s)
    faults = []
    for variant in range(times):
        first = fixed + variant * APART if fixed is not None else None
        sample = _draw_sample(simulation, order.kind, ground, rng) if first is None else first
        if sample >= simulation.samples:
            raise ScenarioError(f"fault {order.kind}: the script ends before that moment")
        ground.taken += range(sample, sample + lasting + 1, APART)
        faults.append(Placed(order.kind, sample, seconds, variant))
    return faults


def _fixed_sample(simulation: Simulation, order: FaultOrder) -> int | None:
    if order.at_sample is not None:
        return order.at_sample
    if order.at_s is None:
        return None
    return int(np.searchsorted(simulation.time_s, order.at_s))


def _draw_sample(
    simulation: Simulation, kind: str, ground: _Ground, rng: np.random.Generator
) -> int:
    """Draw a moment of the first pull: somewhere on the climb, well before the maximum."""
    pull = simulation.truth.pulls[0]
    low_s, high_s = pull.start_of_load_s, pull.time_of_max_s
    part = (0.35, 0.55) if kind in SECONDS or kind == "unplug" else (0.10, 0.80)
    for _ in range(10_000):
        at_s = low_s + (high_s - low_s) * rng.uniform(*part)
        sample = int(np.searchsorted(simulation.board_us, at_s * 1e6))
        if ground.is_free(sample):
            return sample
    raise ScenarioError(f"fault {kind}: so many faults do not fit into one pull")
