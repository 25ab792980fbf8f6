"""What the crank feels, and whether the jack holds when it is let go."""

import math
from dataclasses import dataclass

from daq.rig.rig import Jack

#: Half the angle between the flanks of a trapezoidal thread (ISO 2904: 30 degrees), in radians.
HALF_FLANK = math.radians(15.0)


@dataclass(frozen=True, slots=True)
class JackEffort:
    """Torque and force on the crank at one jack force; N mm, N (NaN: crank length unknown)."""

    torque_nmm: float
    crank_n: float
    efficiency: float
    self_locking: bool


def jack_effort(jack_n: float, jack: Jack) -> JackEffort | None:
    """Return the effort at a jack force in N, or None where diameter or friction are not known.

    Power-screw statics: T = F (d_m/2) tan(lambda + phi) + mu F r_c, tan(lambda) = lead / (pi d_m),
    tan(phi) = mu / cos(flank angle); trapezoidal thread and the same friction at the collar
    assumed. Self-locking: the thread alone holds (phi > lambda).
    """
    if jack.mean_diameter_mm is None or jack.friction is None:
        return None
    radius = jack.mean_diameter_mm / 2.0
    climb = math.atan(jack.lead_mm / (math.pi * jack.mean_diameter_mm))
    rub = math.atan(jack.friction / math.cos(HALF_FLANK))
    collar = jack.friction * (jack.collar_radius_mm or 0.0)
    if climb + rub >= math.pi / 2.0:
        return JackEffort(math.inf, math.inf, 0.0, self_locking=True)
    per_newton = radius * math.tan(climb + rub) + collar
    torque = jack_n * per_newton
    return JackEffort(
        torque_nmm=torque,
        crank_n=torque / jack.crank_mm if jack.crank_mm else math.nan,
        efficiency=jack.lead_mm / (2.0 * math.pi * per_newton),
        self_locking=rub > climb,
    )
