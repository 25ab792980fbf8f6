"""What a specimen does: toe, straight part, yield, strength, loss, friction tail with teeth.

One law serves all seven kinds of pull; its numbers make the difference. What the fastener can hold
is a function of how far it has slid; the straight part, the toe and the rig's own spring are one
spring in series (``rig_mechanics``). When strength falls faster with sliding than that spring gives
way, the loss is sudden, as on a real rig; otherwise it follows the crank. Shapes and ranges:
common practice, no source.
"""

import math
from dataclasses import dataclass

import numpy as np

from simulators.scenario import SpecimenRanges


@dataclass(frozen=True, slots=True)
class Crack:
    """A sudden slip that recovers: at this force, losing this share of it, in about this time."""

    at_n: float
    drop_share: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Specimen:
    """One specimen. Forces N, lengths mm (slid along the fastener), times s."""

    strength_n: float
    stiffness_n_per_mm: float
    toe_mm: float
    yield_n: float
    hardening_mm: float
    softening_mm: float
    collapse_s: float
    residual_n: float
    tail_mm: float
    tooth_share: float
    tooth_mm: float
    relaxation: float
    relaxation_growth: float
    cracks: tuple[Crack, ...]

    def holds(self, slid_mm: float) -> tuple[float, float]:
        """Return the force it can hold after sliding, N, and its slope, N/mm."""
        if slid_mm < self.hardening_mm:
            rise = self.strength_n - self.yield_n
            left = 1.0 - slid_mm / self.hardening_mm
            return self.strength_n - rise * left * left, 2.0 * rise * left / self.hardening_mm
        beyond = slid_mm - self.hardening_mm
        if beyond < self.softening_mm:
            half = 0.5 * (self.strength_n - self.residual_n)
            angle = math.pi * beyond / self.softening_mm
            slope = -half * math.sin(angle) * math.pi / self.softening_mm
            return self.residual_n + half * (1.0 + math.cos(angle)), slope
        return self._tail(beyond - self.softening_mm)

    def _tail(self, slid_mm: float) -> tuple[float, float]:
        if slid_mm >= self.tail_mm or self.residual_n == 0.0:
            return 0.0, 0.0
        fade = self.residual_n * (1.0 - slid_mm / self.tail_mm)
        wave = 2.0 * math.pi / self.tooth_mm
        tooth = 1.0 - self.tooth_share * math.sin(wave * slid_mm)
        slope = -self.residual_n / self.tail_mm * tooth
        return fade * tooth, slope - fade * self.tooth_share * wave * math.cos(wave * slid_mm)


def draw_specimen(ranges: SpecimenRanges, rng: np.random.Generator) -> Specimen:
    """Draw one specimen from its ranges."""
    strength_n = ranges.strength_n.draw(rng)
    return Specimen(
        strength_n=strength_n,
        stiffness_n_per_mm=ranges.stiffness_n_per_mm.draw(rng),
        toe_mm=ranges.toe_mm.draw(rng),
        yield_n=strength_n * ranges.yield_share.draw(rng),
        hardening_mm=ranges.hardening_mm.draw(rng),
        softening_mm=ranges.softening_mm.draw(rng),
        collapse_s=ranges.collapse_s.draw(rng),
        residual_n=strength_n * ranges.residual_share.draw(rng),
        tail_mm=ranges.tail_mm.draw(rng),
        tooth_share=ranges.tooth_share.draw(rng),
        tooth_mm=ranges.tooth_mm.draw(rng),
        relaxation=ranges.relaxation.draw(rng),
        relaxation_growth=ranges.relaxation_growth.draw(rng),
        cracks=_draw_cracks(ranges, strength_n, rng),
    )


def _draw_cracks(
    ranges: SpecimenRanges, strength_n: float, rng: np.random.Generator
) -> tuple[Crack, ...]:
    low = ranges.crack_from_share.draw(rng)
    high = ranges.crack_to_share.draw(rng)
    shares = sorted(rng.uniform(low, high, ranges.cracks.draw_whole(rng)))
    return tuple(
        Crack(float(share) * strength_n, ranges.crack_drop.draw(rng), ranges.crack_s.draw(rng))
        for share in shares
    )
