"""From the cells to the specimen: the only place where the lever ratio is applied.

Three pins on one straight line and vertical links give jack arm / specimen arm at any tilt (both
arms shrink by the same cosine). Pins off the line, friction, wide contacts and the beam's weight
are not corrected here: their size is worked out below for the uncertainty of a pull. The formulas
are moment balances about the fulcrum. ``a`` is the specimen arm and ``b`` the jack arm; tilt is
positive with the jack end up.
"""

import math
from dataclasses import replace
from typing import Literal, TypeVar

import numpy as np

from daq.rig.rig import ActsAt, Lever
from daq.samples import FloatArray

#: Where the weights of a calibration hung, and so what its newtons mean.
LoadAt = Literal["cells", "specimen"]

Force = TypeVar("Force", float, FloatArray)

#: How far the line of contact may wander either way, mm (common practice, no source): a pin does
#: not, a rounded cap rolls a little, a wide flat nut or plate bears on either edge.
CONTACT_WANDER_MM = {"pin": 0.0, "rounded": 1.0, "flat": 5.0}


def specimen_force_n(at_cells_n: Force, lever: Lever, load_at: LoadAt) -> Force:
    """Return the specimen force in N (same shape) for the sum of the cells in N.

    A calibration whose weights hung at the specimen contains the ratio already: it is not applied.
    """
    return at_cells_n if load_at == "specimen" else at_cells_n * lever.ratio


def jack_force_n(at_specimen_n: float, lever: Lever) -> float:
    """Return the jack force in N that goes with a specimen force in N, without friction."""
    return at_specimen_n / lever.ratio


def with_ratio(lever: Lever, ratio: float) -> Lever:
    """Return the lever with its hook where it gives another ratio (above zero)."""
    return replace(lever, specimen_arm_mm=lever.jack_arm_mm / ratio)


def fulcrum_per_jack(lever: Lever) -> float:
    """Return the force at the fulcrum over the jack force: R - 1 at the end, R + 1 between.

    The first pushes the post down (hook between fulcrum and jack), the second lifts its hold-down.
    """
    return lever.ratio - 1.0 if lever.fulcrum == "end" else lever.ratio + 1.0


def limit_at_specimen_n(limit_n: float, acts_at: ActsAt, lever: Lever, share: float = 1.0) -> float:
    """Return the specimen force in N at which a force in N at ``acts_at`` is reached.

    For a cell, ``share`` is its part of the jack force. Infinite where no force arrives.
    """
    if acts_at == "specimen":
        return limit_n
    per_jack = {"jack": 1.0, "cell": share, "fulcrum": fulcrum_per_jack(lever)}[acts_at]
    return limit_n / per_jack * lever.ratio if per_jack > 0.0 else math.inf


def ratio_at_tilt(lever: Lever, tilt_deg: Force) -> Force:
    """Return specimen force over jack force at a tilt: pins off the line, forces upright.

    Between: (b/a) (1 - (h_b/b) tan t) / (1 + (h_a/a) tan t); at the end the lower sign is minus,
    where h_a and h_b are the specimen and jack pin offsets (moment balance about the fulcrum).
    """
    slope: Force = np.tan(np.radians(tilt_deg))
    side = 1.0 if lever.fulcrum == "between" else -1.0
    jack = 1.0 - lever.jack_pin_offset_mm / lever.jack_arm_mm * slope
    specimen = 1.0 + side * lever.specimen_pin_offset_mm / lever.specimen_arm_mm * slope
    return lever.ratio * jack / specimen


def tilt_effect_rel(lever: Lever) -> float:
    """Return the largest relative change of the ratio within the stated tilt, either way."""
    ends = (lever.max_tilt_deg, -lever.max_tilt_deg)
    return max(abs(ratio_at_tilt(lever, tilt) / lever.ratio - 1.0) for tilt in ends)


def arms_u_rel(lever: Lever) -> float:
    """Return the relative standard uncertainty of the ratio from the two measured arms.

    ``arm_uncertainty_mm`` counts as a standard uncertainty of each arm.
    """
    u = lever.arm_uncertainty_mm
    return math.hypot(u / lever.jack_arm_mm, u / lever.specimen_arm_mm)


def contact_effect_rel(lever: Lever) -> float:
    """Return the largest relative change of the ratio as the contact wanders on the shorter arm."""
    wander = CONTACT_WANDER_MM[lever.contact]
    return wander / min(lever.jack_arm_mm, lever.specimen_arm_mm)


def ratio_u_rel(lever: Lever) -> float:
    """Return the relative standard uncertainty of the ratio: arms, tilt and contact together.

    Tilt and contact lie anywhere within their bounds (rectangular: bound / sqrt 3, GUM 4.3.7).
    Friction is not in it: it has a sign, see ``friction_loss_rel``.
    """
    bounded = math.hypot(tilt_effect_rel(lever), contact_effect_rel(lever)) / math.sqrt(3.0)
    return math.hypot(arms_u_rel(lever), bounded)


def friction_loss_rel(lever: Lever) -> float:
    """Return the part of the specimen force that pin friction takes, relative, for three like pins.

    mu r [(1/a + 1/b) + 1/a + 1/b] with the fulcrum between, |1/a - 1/b| for the fulcrum's own part
    at the end: each pin resists with mu r times its force. The loss is of either sign: the force
    from the ratio is too high by this much while the jack drives, too low while it is wound back.
    """
    a, b = lever.specimen_arm_mm, lever.jack_arm_mm
    fulcrum = 1.0 / a + 1.0 / b if lever.fulcrum == "between" else abs(1.0 / a - 1.0 / b)
    return lever.pin_friction * lever.pin_radius_mm * (fulcrum + 1.0 / a + 1.0 / b)


def beam_weight_residual_n(
    weight_n: float,
    centre_mm: float,
    height_mm: float,
    lever: Lever,
    tilt_deg: float,
    zero_tilt_deg: float,
) -> float:
    """Return what is left at the specimen, in N, of a beam weight that was zeroed at another tilt.

    The centre of mass lies ``centre_mm`` along the beam from the fulcrum, ``height_mm`` above it:
    W / (a cos t) [x (cos t - cos t0) - h (sin t - sin t0)].
    """
    t, t0 = math.radians(tilt_deg), math.radians(zero_tilt_deg)
    along = centre_mm * (math.cos(t) - math.cos(t0))
    across = height_mm * (math.sin(t) - math.sin(t0))
    return weight_n / (lever.specimen_arm_mm * math.cos(t)) * (along - across)
