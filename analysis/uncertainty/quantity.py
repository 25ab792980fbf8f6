"""One uncertain input of a measurement: estimate, spread, shape, and how sure the spread is."""

import math
from dataclasses import dataclass
from typing import Literal, Self

import numpy as np

from daq.samples import FloatArray

Shape = Literal["normal", "t", "rectangular", "triangular", "arcsine"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """An input of a model. ``u`` is its standard uncertainty in the unit of the estimate.

    ``dof`` says how well ``u`` is known (GUM G.4.2: 1 / (2 R^2) where u is good to a part R).
    ``limits_within`` is by how much the limits of a rectangle may themselves be off.
    """

    name: str
    estimate: float
    u: float
    dof: float = math.inf
    shape: Shape = "normal"
    limits_within: float = 0.0
    words: str = ""  # where the figure comes from

    @classmethod
    def normal(
        cls, name: str, estimate: float, u: float, dof: float = math.inf, words: str = ""
    ) -> Self:
        """A measured value: Student's t where ``dof`` is finite (JCGM 101:2008, 6.4.9)."""
        return cls(name, estimate, u, dof, "t" if math.isfinite(dof) else "normal", 0.0, words)

    @classmethod
    def rectangular(
        cls,
        name: str,
        estimate: float,
        half_width: float,
        dof: float = math.inf,
        words: str = "",
        limits_within: float = 0.0,
    ) -> Self:
        """Anywhere within +-``half_width`` alike: u = half width / sqrt 3 (GUM 4.3.7)."""
        if limits_within > 0.0:
            dof = 0.5 * (half_width / limits_within) ** 2
        u = half_width / math.sqrt(3.0)
        return cls(name, estimate, u, dof, "rectangular", limits_within, words)

    @classmethod
    def triangular(cls, name: str, estimate: float, half_width: float, words: str = "") -> Self:
        """Within +-``half_width``, the middle likelier: u = half width / sqrt 6 (GUM 4.3.9)."""
        return cls(name, estimate, half_width / math.sqrt(6.0), shape="triangular", words=words)

    @classmethod
    def arcsine(cls, name: str, estimate: float, half_width: float, words: str = "") -> Self:
        """A cycle of amplitude ``half_width``: u = half width / sqrt 2 (GUM H.1.3.4)."""
        return cls(name, estimate, half_width / math.sqrt(2.0), shape="arcsine", words=words)

    @classmethod
    def digit(cls, name: str, digit: float, words: str = "") -> Self:
        """The rounding of one digit: u = digit / sqrt 12 (GUM F.2.2.1)."""
        return cls.rectangular(name, 0.0, 0.5 * digit, words=words)

    def draw(self, random: np.random.Generator, trials: int) -> FloatArray:
        """Return ``trials`` values (trials,) of this quantity (JCGM 101:2008, 6.4)."""
        return self.estimate + self._deviations(random, trials)

    def _deviations(self, random: np.random.Generator, trials: int) -> FloatArray:
        if self.shape == "t":
            return self.u * random.standard_t(self.dof, trials)
        if self.shape == "rectangular":
            return self._rectangle(random, trials)
        if self.shape == "triangular":
            half_width = self.u * math.sqrt(6.0)
            return half_width * (random.random(trials) + random.random(trials) - 1.0)
        if self.shape == "arcsine":
            half_width = self.u * math.sqrt(2.0)
            return half_width * np.sin(2.0 * np.pi * random.random(trials))
        return self.u * random.standard_normal(trials)

    def _rectangle(self, random: np.random.Generator, trials: int) -> FloatArray:
        half_width: float | FloatArray = self.u * math.sqrt(3.0)
        if self.limits_within > 0.0:  # JCGM 101:2008, 6.4.3: curvilinear trapezoid
            half_width = half_width + self.limits_within * (2.0 * random.random(trials) - 1.0)
        return half_width * (2.0 * random.random(trials) - 1.0)
