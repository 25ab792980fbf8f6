"""A scenario: what kind of pull, and the ranges its specimen, rig and person are drawn from.

A scenario file names only what differs from the defaults below. Each number is one value or a range
``[low, high]``; drawing from a range is uniform and depends on the seed alone.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

FOLDER = Path(__file__).parent / "scenarios"
KINDS = ("failed", "at least", "partial", "invalid")
MODES = (
    "withdrawal",
    "thread strip-out",
    "fibre plug",
    "head pull-through",
    "splitting",
    "fastener fracture",
    "insert turned out",
    "nail slid",
    "grip slipped",
    "rig part failed",
    "stopped whole",
)


class ScenarioError(ValueError):
    """A scenario, fault or rig that cannot be simulated; the message says where and what."""


@dataclass(frozen=True, slots=True)
class Range:
    """Numbers from ``low`` to ``high``, both included."""

    low: float
    high: float

    def draw(self, rng: np.random.Generator) -> float:
        """Return one number; a single value uses no randomness."""
        return self.low if self.low == self.high else float(rng.uniform(self.low, self.high))

    def draw_whole(self, rng: np.random.Generator) -> int:
        """Return one whole number."""
        return int(rng.integers(round(self.low), round(self.high) + 1))


@dataclass(frozen=True, slots=True)
class SpecimenRanges:
    """How the wood and the fastener answer. Shares are of the strength; mm along the fastener."""

    strength_n: Range
    stiffness_n_per_mm: Range
    toe_mm: Range
    yield_share: Range
    hardening_mm: Range  # sliding from yield to strength
    softening_mm: Range  # sliding from strength to the friction tail
    collapse_s: Range  # time constant of a sudden loss
    residual_share: Range
    tail_mm: Range  # sliding until the tail is gone
    tooth_share: Range  # of the tail
    tooth_mm: Range
    cracks: Range  # how many
    crack_from_share: Range
    crack_to_share: Range
    crack_drop: Range  # share of the force at the crack
    crack_s: Range
    relaxation: Range  # share of the force lost in each decade of time at rest
    relaxation_growth: Range  # how much more of it near the strength


@dataclass(frozen=True, slots=True)
class RigRanges:
    """What the rig does beside its geometry, which the rig file gives."""

    stiffness_n_per_mm: Range = Range(1420, 1580)  # beam, frame and links at the hook
    pin_friction_share: Range = Range(0.0006, 0.0014)  # of the force; bearings
    friction_reversal_mm: Range = Range(0.02, 0.05)  # jack travel that turns the friction round
    screw_runout_mm: Range = Range(0.004, 0.020)  # once per turn
    slack_mm: Range = Range(0.6, 1.6)  # at the hook
    beam_weight_n: Range = Range(16, 24)  # what the beam and jack rest on the cells
    first_share: Range = Range(0.56, 0.58)  # of the first cell, the others alike
    share_drift: Range = Range(-0.03, 0.03)  # of the first cell, from no load to the stop
    ring_hz: Range = Range(12, 26)
    ring_cycles: Range = Range(3, 8)
    ring_share: Range = Range(0.15, 0.35)  # of a sudden drop
    ring_limit_n: Range = Range(60, 120)  # at the specimen


@dataclass(frozen=True, slots=True)
class CrankRanges:
    """The person at the crank."""

    quiet_before_s: Range = Range(6.5, 8.0)
    quiet_after_s: Range = Range(8.5, 10.0)
    time_to_max_s: Range = Range(68, 96)  # what the person aims at
    stroke_s: Range = Range(1.4, 2.0)
    unevenness: Range = Range(0.05, 0.15)  # of stroke and rest
    strokes_after: Range = Range(4, 4)  # without a new maximum, then wind back
    reaction_s: Range = Range(0.04, 0.12)  # at the stop force
    look_s: Range = Range(1.5, 2.5)  # at the wreck, before winding back
    pause_s: Range = Range(0, 0)  # one long rest, as when somebody comes to the door
    pause_from_share: Range = Range(0.9, 0.9)  # of the strength: from here on


@dataclass(frozen=True, slots=True)
class BoardRanges:
    """The converter board. Counts are of one cell."""

    rate_hz: Range = Range(92.4, 93.6)
    period_jitter: Range = Range(0.002, 0.004)
    clock_error: Range = Range(-4e-4, 4e-4)
    noise_counts: Range = Range(60, 180)
    hum_n: Range = Range(0.05, 0.5)
    hand_n: Range = Range(0.2, 0.8)  # shake of the hand, at the jack, while it cranks
    zero_counts: Range = Range(-60000, 60000)
    warm_up_n: Range = Range(-4, 4)  # per cell, over a quarter of an hour
    gain_error: Range = Range(0.0, 0.0)  # hidden from the rig file
    creep_share: Range = Range(0.0001, 0.0004)


@dataclass(frozen=True, slots=True)
class Scenario:
    """One kind of pull."""

    name: str
    about: str
    kind: str
    mode: str
    specimen: SpecimenRanges
    reason: str = ""
    rig: RigRanges = RigRanges()
    crank: CrankRanges = CrankRanges()
    board: BoardRanges = BoardRanges()


def scenario_names() -> tuple[str, ...]:
    """Return the names of the scenarios that ship, sorted."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


def load_scenario(name_or_path: str | Path) -> Scenario:
    """Return the scenario of that name, or of that file. Raises ScenarioError."""
    path = FOLDER / f"{name_or_path}.toml"
    if str(name_or_path) not in scenario_names():
        path = Path(name_or_path)
        if path.suffix != ".toml":
            known = ", ".join(scenario_names())
            raise ScenarioError(f'there is no scenario "{name_or_path}"; there are: {known}')
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(f"{path}: is not TOML: {error}") from None
    return read_scenario(table, path.stem, str(path))


def refuse_seed(seed: int) -> None:
    """Raise ScenarioError for a seed that no generator takes."""
    if seed < 0:
        raise ScenarioError(f"cannot simulate with seed {seed}: a seed is 0 or above")


def read_scenario(table: Mapping[str, Any], name: str, where: str) -> Scenario:
    """Return the scenario that a table of a file holds. Raises ScenarioError."""
    parts = {"specimen": SpecimenRanges, "rig": RigRanges, "crank": CrankRanges}
    parts["board"] = BoardRanges
    words = ("about", "kind", "mode", "reason")
    for key in table:
        if key not in words and key not in parts:
            raise ScenarioError(
                f'{where}: unknown key "{key}"; known: {", ".join((*words, *parts))}'
            )
    for key, choices in (("kind", KINDS), ("mode", MODES)):
        if table.get(key) not in choices:
            raise ScenarioError(f"{where}: {key} must be one of: {', '.join(choices)}")
    if "specimen" not in table:
        raise ScenarioError(f"{where}: [specimen] is missing")
    return Scenario(
        name=name,
        about=str(table.get("about", "")),
        kind=table["kind"],
        mode=table["mode"],
        reason=str(table.get("reason", "")),
        **{
            key: _ranges(kind, table.get(key, {}), f"{where}: [{key}]")
            for key, kind in parts.items()
        },
    )


def _ranges(kind: Any, table: Any, where: str) -> Any:
    if not isinstance(table, Mapping):
        raise ScenarioError(f"{where} must be a table")
    known = {field.name for field in fields(kind)}
    for key in table:
        if key not in known:
            raise ScenarioError(f'{where}: unknown key "{key}"; known: {", ".join(sorted(known))}')
    if kind is SpecimenRanges and (missing := sorted(known - set(table))):
        raise ScenarioError(f"{where}: missing: {', '.join(missing)}")
    return kind(**{key: _one_range(value, f"{where}: {key}") for key, value in table.items()})


def _one_range(value: Any, where: str) -> Range:
    ends = value if isinstance(value, list) else [value, value]
    numbers = all(isinstance(end, int | float) and not isinstance(end, bool) for end in ends)
    if len(ends) != 2 or not numbers or not ends[0] <= ends[1]:
        raise ScenarioError(f"{where}: write one number, or [low, high]")
    return Range(float(ends[0]), float(ends[1]))
