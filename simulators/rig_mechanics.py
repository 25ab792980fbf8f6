"""The loaded rig: crank turns in, specimen force out, one step at a time.

Jack lead and lever move the hook; the rig's spring, the specimen's spring with its toe, its sliding
and its slow creep share that travel:

    travel at the hook = slack + toe and springs in series + slid + cracks + creep

Creep is a row of Kelvin elements a decade (nearly) apart in time, which gives a loss of force in
proportion to the logarithm of time while the crank rests. Sliding is viscous beyond what the
specimen holds, and solved implicitly, so that a sudden loss takes its own time and no step can
jump over it. Friction of the pins turns round within a small travel and follows the jack.
"""

import math
from dataclasses import dataclass

import numpy as np

from simulators.scenario import RigRanges
from simulators.specimen import Specimen

CREEP_TIMES_S = (0.4, 2.5, 16.0, 100.0)
CREEP_DECADES = 0.8  # between two of them
FINE_S = 0.0005  # step while something lets go
CRACK_OPEN_MM = 1e-5  # a crack still opening by more than this is followed in fine steps


@dataclass(frozen=True, slots=True)
class RigBuild:
    """The mechanical rig of one pull. At the hook unless said otherwise."""

    ratio: float
    lead_mm: float
    stiffness_n_per_mm: float
    friction_share: float
    friction_reversal_mm: float  # at the jack
    screw_runout_mm: float  # at the jack
    slack_mm: float


def draw_rig(ranges: RigRanges, ratio: float, lead_mm: float, rng: np.random.Generator) -> RigBuild:
    """Draw what the rig file does not tell."""
    return RigBuild(
        ratio=ratio,
        lead_mm=lead_mm,
        stiffness_n_per_mm=ranges.stiffness_n_per_mm.draw(rng),
        friction_share=ranges.pin_friction_share.draw(rng),
        friction_reversal_mm=ranges.friction_reversal_mm.draw(rng),
        screw_runout_mm=ranges.screw_runout_mm.draw(rng),
        slack_mm=ranges.slack_mm.draw(rng),
    )


class LoadedRig:
    """A rig with a specimen in it; ``step`` moves the crank. Forces N at the specimen."""

    __slots__ = (
        "_crack_s",
        "_crack_to_open",
        "_creep",
        "_creep_per_n",
        "_jack_mm",
        "_next_crack",
        "_slipped",
        "_spring",
        "_viscosity",
        "build",
        "cracks",
        "fine",
        "force_n",
        "friction",
        "slid_mm",
        "specimen",
        "turns",
        "yield_n",
    )

    def __init__(self, build: RigBuild, specimen: Specimen) -> None:
        self.build = build
        self.specimen = specimen
        self._spring = 1.0 / (1.0 / build.stiffness_n_per_mm + 1.0 / specimen.stiffness_n_per_mm)
        self._viscosity = self._spring * specimen.collapse_s
        self._creep = [0.0] * len(CREEP_TIMES_S)
        self._creep_per_n = specimen.relaxation * CREEP_DECADES / self._spring
        self._crack_to_open = 0.0
        self._crack_s = 1.0
        self._jack_mm = 0.0
        self._next_crack = 0
        self._slipped = 0.0
        self.turns = 0.0
        self.force_n = 0.0
        self.friction = 0.0  # -1 unwinding .. 1 winding
        self.slid_mm = 0.0
        self.fine = False  # something lets go: step finely
        self.yield_n = math.nan
        self.cracks: list[tuple[float, float]] = []  # (force, drop) as they began

    @property
    def spring_n_per_mm(self) -> float:
        """Rig and specimen in series."""
        return self._spring

    @property
    def past_strength(self) -> bool:
        """Whether the specimen has slid beyond its strength."""
        return self.slid_mm > self.specimen.hardening_mm

    def step(self, turns: float, seconds: float) -> float:
        """Move the crank to ``turns`` in ``seconds`` and return the force at the specimen."""
        self.turns = turns
        self._turn_friction(turns)
        before = self.force_n
        room = self._jack_mm / self.build.ratio - self.build.slack_mm - self._slipped - self.slid_mm
        room -= self._crept(before, seconds) + self._opened(seconds)
        force, stiffness = self._spring_force(room)
        holds, slope = self.specimen.holds(self.slid_mm)
        self.fine = self._crack_to_open > CRACK_OPEN_MM
        if force > holds:
            slid = self._slide(force - holds, stiffness + slope, seconds)
            force, stiffness = self._spring_force(room - slid)
        if self._next_crack < len(self.specimen.cracks):
            self._maybe_crack(force, stiffness)
        self.force_n = force
        return force

    def longest_step_s(self) -> float:
        """Return how long the next step may be for the loss now going on (infinite: any)."""
        if self.fine:
            return FINE_S
        _, slope = self.specimen.holds(self.slid_mm)
        return 0.5 * self._viscosity / -slope if slope < 0.0 else math.inf

    def _turn_friction(self, turns: float) -> None:
        build = self.build
        jack_mm = build.lead_mm * turns
        jack_mm += build.screw_runout_mm * math.sin(2.0 * math.pi * turns)
        moved = (jack_mm - self._jack_mm) / build.friction_reversal_mm
        self.friction = max(-1.0, min(1.0, self.friction + moved))
        self._jack_mm = jack_mm

    def _crept(self, force: float, seconds: float) -> float:
        share = force / self.specimen.strength_n
        aim = force * (1.0 + self.specimen.relaxation_growth * share**4) * self._creep_per_n
        creep = self._creep
        for i, time_s in enumerate(CREEP_TIMES_S):
            creep[i] += seconds / (time_s + seconds) * (aim - creep[i])
        return sum(creep)

    def _opened(self, seconds: float) -> float:
        opens = self._crack_to_open * seconds / (self._crack_s + seconds)
        self._crack_to_open -= opens
        self._slipped += opens
        return opens

    def _spring_force(self, room_mm: float) -> tuple[float, float]:
        toe = self.specimen.toe_mm
        if room_mm <= 0.0:
            return 0.0, 0.0
        if room_mm < toe:
            return 0.5 * self._spring * room_mm * room_mm / toe, self._spring * room_mm / toe
        return self._spring * (room_mm - 0.5 * toe), self._spring

    def _slide(self, beyond_n: float, stiffness: float, seconds: float) -> float:
        if self.slid_mm == 0.0:
            self.yield_n = self.specimen.yield_n
        # a step may not turn a steep loss into a gain: at most half the viscosity is taken away
        change = max(seconds * stiffness, -0.5 * self._viscosity)
        slid = seconds * beyond_n / (self._viscosity + change)
        self.slid_mm += slid
        self.fine = self.fine or slid > seconds  # faster than 1 mm/s: letting go
        return slid

    def _maybe_crack(self, force: float, stiffness: float) -> None:
        crack = self.specimen.cracks[self._next_crack]
        if force < crack.at_n or self._crack_to_open > CRACK_OPEN_MM:
            return
        self._next_crack += 1
        self._crack_to_open += crack.drop_share * force / stiffness
        self._crack_s = crack.seconds
        self.fine = True
        self.cracks.append((force, crack.drop_share * force))
