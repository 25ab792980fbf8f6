"""Forces brought to one density or one moisture, by a rule with a name. Never applied unasked.

Published rules disagree (a density power of 0.8 or 2; moisture by a factor of four): the result
names its rule, and the unadjusted force stays the record.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.statistics.summary import Floats


@dataclass(frozen=True, slots=True)
class Rule:
    """One published way to bring a force to a reference."""

    key: str  # which specimen entry it needs
    source: str
    power: float = 0.0  # of reference / own density
    per_percent: float = 0.0  # relative change of force per +1 % moisture


#: Name on the command line -> rule.
RULES: Mapping[str, Rule] = {
    "density-ec5-screw": Rule("density_kg_m3", "EN 1995-1-1 8.7.2, density power 0.8", power=0.8),
    "density-handbook-screw": Rule(
        "density_kg_m3", "Wood Handbook chapter 8, wood screws, gravity power 2", power=2.0
    ),
    "density-handbook-nail": Rule(
        "density_kg_m3", "Wood Handbook chapter 8, nails, gravity power 2.5", power=2.5
    ),
    "density-hardwood-screw": Rule(
        "density_kg_m3", "CIB-W18/46-7-4 (2013), screws in hardwood, density power 1.6", power=1.6
    ),
    "moisture-ash": Rule(
        "moisture_pct",
        "CIB-W18/46-7-4 (2013), ash across the grain, -2.4 % per +1 % moisture",
        per_percent=-0.024,
    ),
    "moisture-ash-end-grain": Rule(
        "moisture_pct",
        "CIB-W18/46-7-4 (2013), ash along the grain, -2.7 % per +1 % moisture",
        per_percent=-0.027,
    ),
}


def adjust(force_n: ArrayLike, own: ArrayLike, reference: float, rule: Rule) -> Floats:
    """Return ``force_n`` (n,) brought from ``own`` (n,) density or moisture to ``reference``."""
    force, here = np.asarray(force_n, dtype=np.float64), np.asarray(own, dtype=np.float64)
    if rule.power:
        return force * (reference / here) ** rule.power
    return force / (1 + rule.per_percent * (here - reference))
