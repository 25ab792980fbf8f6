"""The uncertainty of a pull's maximum at the specimen: one model, its quantities, the budget.

Each figure says where it comes from. Arms, tilt and contact are not corrected: they widen. Pin
friction and the unseen top have a sign: their expected size is told as a bias, the force shown
stays as measured, and the expanded uncertainty about it is widened by the bias.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.uncertainty.propagation import TRIALS, Contribution, Model, Simulated
from analysis.uncertainty.propagation import propagate as by_the_law
from analysis.uncertainty.propagation import simulate as by_trials
from analysis.uncertainty.quantity import Quantity
from daq.force import lever as mechanics
from daq.force.calibration import Calibration
from daq.force.force_chain import ForceChain
from daq.force.weights import UNKNOWN_WITHIN
from daq.force.zero import Zero
from daq.rig.rig import Lever, Rig
from daq.samples import FloatArray
from daq.units import STANDARD_GRAVITY_M_S2

#: Friction of pins is a guess: good to a fifth (GUM G.4.2: 12.5 degrees of freedom).
FRICTION_DOF = 12.5
#: Zero return after a pull, of its maximum, where no zero was taken after (common practice).
USUAL_ZERO_RETURN = 0.0025
#: How far a shop-grade cell bends from a line, of its capacity (from memory of data sheets).
CELL_BEND = 0.001
#: Output periods after a step until a bridge converter has settled (data sheet of a 24-bit one).
SETTLING_PERIODS = 4.0
USUAL_BEAM_KG_M3 = 700.0


@dataclass(frozen=True, slots=True)
class PullFigures:
    """What a pull says about its own maximum. Force at the specimen; noise per cell at rest."""

    max_force_n: float
    zero_before: Zero
    zero_after: Zero | None
    noise_counts: tuple[float, ...]  # standard deviation
    climb_n_per_s: float  # at the maximum
    sample_period_s: float


@dataclass(frozen=True, slots=True)
class Budget:
    """The uncertainty of a maximum at the specimen, in N; contributions largest first.

    ``low_n`` .. ``high_n`` holds the true maximum with 95 %: best estimate -+ k u. ``U95_n`` is
    about the force shown: k u + abs(bias) (GUM F.2.4.5, from memory).
    """

    force_n: float  # as shown
    bias_n: float  # what friction and the unseen top are expected to add to it
    u_n: float
    dof: float
    k: float
    U95_n: float
    low_n: float
    high_n: float
    contributions: tuple[Contribution, ...]


def specimen_force_budget(rig: Rig, calibration: Calibration, pull: PullFigures) -> Budget:
    """Return the budget of a pull's maximum by the law of propagation (GUM)."""
    found = by_the_law(
        specimen_force_model(rig, calibration, pull.max_force_n),
        specimen_force_quantities(rig, calibration, pull),
    )
    bias = found.value - pull.max_force_n
    return Budget(
        force_n=pull.max_force_n,
        bias_n=bias,
        u_n=found.u,
        dof=found.dof,
        k=found.k,
        U95_n=found.expanded + abs(bias),
        low_n=found.value - found.expanded,
        high_n=found.value + found.expanded,
        contributions=found.contributions,
    )


def specimen_force_trials(
    rig: Rig, calibration: Calibration, pull: PullFigures, seed: int, trials: int = TRIALS
) -> Simulated:
    """Return what seeded trials of the same model and quantities give (JCGM 101)."""
    model = specimen_force_model(rig, calibration, pull.max_force_n)
    return by_trials(model, specimen_force_quantities(rig, calibration, pull), seed, trials)


def specimen_force_model(rig: Rig, calibration: Calibration, shown_n: float) -> Model:
    """Return the true specimen force (N) as a function of everything that may be off by itself.

    With every deviation zero it gives ``shown_n``. Newtons are at the specimen but for those of
    the calibration, which are where its weights were.
    """
    lever, load_at = rig.lever, calibration.load_at
    per_load = mechanics.specimen_force_n(1.0, lever, load_at)

    def true_force_n(**off: FloatArray) -> FloatArray:
        known = 1.0 + off["weights"] + off["gravity"] + off["beyond_verified"]
        load_n = shown_n / per_load * known + off["calibration_fit"] + _at_load(off)
        if load_at == "specimen":
            return load_n + off["unseen_top"]
        arms = (1.0 + off["jack_arm"] / lever.jack_arm_mm) / (
            (1.0 + off["specimen_arm"] / lever.specimen_arm_mm) * (1.0 + off["contact"])
        )
        ratio = mechanics.ratio_at_tilt(lever, off["tilt"]) * arms
        driven = ratio * load_n * (1.0 + off["pin_friction"])
        return driven + off["beam_weight"] + off["unseen_top"]

    return true_force_n


def specimen_force_quantities(
    rig: Rig, calibration: Calibration, pull: PullFigures
) -> tuple[Quantity, ...]:
    """Return the quantities of ``specimen_force_model`` for one pull."""
    per_load = mechanics.specimen_force_n(1.0, rig.lever, calibration.load_at)
    load_n = pull.max_force_n / per_load
    quantities = [
        *_of_calibration(rig, calibration, load_n),
        *_of_reading(rig, calibration, pull, load_n),
        _unseen_top(pull),
    ]
    if calibration.load_at == "cells":
        quantities += _of_lever(rig)
    return tuple(quantities)


def _at_load(off: dict[str, FloatArray]) -> FloatArray:
    return off["zero_drift"] + off["zero_noise"] + off["noise"] + off["resolution"]


def _of_calibration(rig: Rig, calibration: Calibration, load_n: float) -> Iterator[Quantity]:
    quality = calibration.quality
    if quality is None:
        bound = UNKNOWN_WITHIN
        words = f"no weights stand behind the slopes: within {100.0 * bound:g} %"
        yield Quantity.rectangular("calibration_fit", 0.0, bound * load_n, words=words)
        yield from (Quantity.normal(name, 0.0, 0.0) for name in ("weights", "gravity"))
        yield Quantity.normal("beyond_verified", 0.0, 0.0, words="in the calibration's own bound")
        return
    fit = quality.u_load_n(load_n)
    yield Quantity.normal(
        "calibration_fit", 0.0, fit, quality.dof, "scatter of the points and of their curve"
    )
    yield Quantity.normal("weights", 0.0, quality.u_weights_rel, words=quality.weights)
    yield Quantity.normal("gravity", 0.0, quality.u_gravity_rel, words=quality.weights)
    yield _beyond(rig, calibration, load_n)


def _beyond(rig: Rig, calibration: Calibration, load_n: float) -> Quantity:
    """A parabola off a line by d of capacity, judged by its slope at first, is off by 4 d x."""
    capacity_n = sum(cell.capacity_n for cell in rig.cells)
    if calibration.load_at == "specimen":
        capacity_n = mechanics.specimen_force_n(capacity_n, rig.lever, "cells")
    past = max(0.0, load_n - calibration.verified_to_n) / capacity_n
    times = calibration.extrapolation(load_n)
    words = f"extrapolated x {times:.1f}" if past else "within the verified load"
    return Quantity.rectangular("beyond_verified", 0.0, 4.0 * CELL_BEND * past, words=words)


def _of_reading(
    rig: Rig, calibration: Calibration, pull: PullFigures, load_n: float
) -> Iterator[Quantity]:
    per_newton = calibration.capacity_counts((1.0,) * len(calibration.cells))
    zero = pull.zero_before

    def newtons(counts: tuple[float, ...]) -> float:
        return math.hypot(*(c / slope for c, slope in zip(counts, per_newton, strict=True)))

    root = math.sqrt(max(zero.samples, 1))
    words = f"mean of {zero.samples} samples" if zero.taken else "no zero was taken"
    yield Quantity.normal("zero_noise", 0.0, newtons(zero.sd) / root, words=words)
    yield _zero_drift(rig, calibration, pull, load_n)
    yield Quantity.normal("noise", 0.0, newtons(pull.noise_counts), words="of one sample at rest")
    digit = newtons((1.0,) * len(per_newton))
    yield Quantity.digit("resolution", digit, words="one count of each cell")


def _zero_drift(rig: Rig, calibration: Calibration, pull: PullFigures, load_n: float) -> Quantity:
    if pull.zero_after is None or not pull.zero_after.taken:
        words = f"no zero after the pull: {100.0 * USUAL_ZERO_RETURN:g} % of the maximum"
        drift = USUAL_ZERO_RETURN * load_n
    else:
        chain = ForceChain(calibration, pull.zero_before, rig.lever)
        shift = chain.zero_shift_n(pull.zero_after)
        drift = shift / mechanics.specimen_force_n(1.0, rig.lever, calibration.load_at)
        words = f"zero after less zero before: {shift:+.1f} N at the specimen"
    return Quantity.rectangular("zero_drift", 0.0, abs(drift), words=words)


def _unseen_top(pull: PullFigures) -> Quantity:
    """Between samples, and while the converter settles, the force climbs on unseen."""
    settling_s = SETTLING_PERIODS * pull.sample_period_s
    unseen = max(0.0, pull.climb_n_per_s) * (settling_s / 2.0 + pull.sample_period_s)
    words = f"climbing {pull.climb_n_per_s:.0f} N/s: up to {unseen:.1f} N above what was read"
    return Quantity.rectangular("unseen_top", unseen / 2.0, unseen / 2.0, words=words)


def _of_lever(rig: Rig) -> Iterator[Quantity]:
    lever = rig.lever
    arm = f"+-{lever.arm_uncertainty_mm:g} mm"
    for name, length in (
        ("jack_arm", lever.jack_arm_mm),
        ("specimen_arm", lever.specimen_arm_mm),
    ):
        words = f"{arm} of {length:g} mm"
        yield Quantity.normal(name, 0.0, lever.arm_uncertainty_mm, words=words)
    contact = mechanics.contact_effect_rel(lever)
    yield Quantity.rectangular("contact", 0.0, contact, words=f"{lever.contact} contact wanders")
    words = f"+-{lever.max_tilt_deg:g} deg with pins off the line"
    yield Quantity.rectangular("tilt", 0.0, lever.max_tilt_deg, words=words)
    loss = mechanics.friction_loss_rel(lever)
    words = f"takes {100.0 * loss:.2g} % of the force while the jack drives, 0 to twice that"
    yield Quantity.rectangular("pin_friction", -loss, loss, FRICTION_DOF, words)
    yield Quantity.rectangular("beam_weight", 0.0, *_beam_weight(rig, lever))


def _beam_weight(rig: Rig, lever: Lever) -> tuple[float, float, str]:
    """What the zero does not take off: half width in N, degrees of freedom, words."""
    if rig.beam is None:
        return 0.0, math.inf, "no beam in the rig file"
    beyond = 0.0 if lever.fulcrum == "end" else lever.specimen_arm_mm
    length_mm, centre_mm = lever.jack_arm_mm + beyond, (lever.jack_arm_mm - beyond) / 2.0
    density = rig.beam.density_kg_m3 or USUAL_BEAM_KG_M3
    volume_m3 = rig.beam.breadth_mm * rig.beam.depth_mm * length_mm * 1e-9
    weight_n = volume_m3 * density * STANDARD_GRAVITY_M_S2
    height_mm = -rig.beam.hole_offset_mm
    left = max(
        abs(mechanics.beam_weight_residual_n(weight_n, centre_mm, height_mm, lever, tilt_deg, 0.0))
        for tilt_deg in (-lever.max_tilt_deg, lever.max_tilt_deg)
    )
    return left, math.inf, f"beam of about {weight_n:.0f} N, zeroed at another tilt"
