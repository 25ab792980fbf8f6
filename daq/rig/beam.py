"""What the load does to the lever beam: forces, stresses, splitting, reinforcing screws.

Elementary beam theory on a rectangular section. The splitting and screw rules were made for
softwood joints and for screws in European hardwoods; they tell the size of a limit, not a design
value.
"""

import math
from dataclasses import dataclass

from daq.force.lever import fulcrum_per_jack, jack_force_n
from daq.rig.rig import Beam, Lever, ReinforcingScrews


@dataclass(frozen=True, slots=True)
class BeamForces:
    """The worst of the beam for one specimen force: N mm, N, N."""

    moment_nmm: float
    shear_n: float
    at_hole_n: float


def beam_forces(at_specimen_n: float, lever: Lever) -> BeamForces:
    """Return bending moment, shear and the force of the pin in its hole (statics).

    Fulcrum at the end: all at the hook pin, M = F_j (a_j - a_s). Fulcrum between: M = F_j a_j at
    the fulcrum, where the pin carries both forces; the hook's hole is taken to be no worse.
    """
    jack_n = jack_force_n(at_specimen_n, lever)
    fulcrum_n = fulcrum_per_jack(lever) * jack_n
    if lever.fulcrum == "end":
        moment = jack_n * (lever.jack_arm_mm - lever.specimen_arm_mm)
        return BeamForces(moment, max(jack_n, fulcrum_n), at_specimen_n)
    return BeamForces(jack_n * lever.jack_arm_mm, max(jack_n, at_specimen_n), fulcrum_n)


def bending_mpa(moment_nmm: float, beam: Beam) -> float:
    """Return the edge stress on the net section at the hole, N/mm2.

    I = b h^3/12 - b D^3/12 - b D y^2 with the hole D a distance y off mid-depth.
    """
    b, h, d, y = beam.breadth_mm, beam.depth_mm, beam.hole_mm, beam.hole_offset_mm
    inertia = b * h**3 / 12.0 - b * d**3 / 12.0 - b * d * y**2
    return moment_nmm * (h / 2.0) / inertia


def shear_mpa(shear_n: float, beam: Beam) -> float:
    """Return the shear stress at mid-depth, 1.5 V / (b h), N/mm2."""
    return 1.5 * shear_n / (beam.breadth_mm * beam.depth_mm)


def bearing_mpa(force_n: float, beam: Beam) -> float:
    """Return the bearing stress of the pin on its hole, F / (b D), N/mm2."""
    return force_n / (beam.breadth_mm * beam.hole_mm)


def loaded_edge_mm(beam: Beam) -> float:
    """Return the distance from the loaded edge to the hole: as given, else the shorter side."""
    if beam.loaded_edge_mm is not None:
        return beam.loaded_edge_mm
    return beam.depth_mm / 2.0 - abs(beam.hole_offset_mm)


def splitting_shear_n(beam: Beam) -> float:
    """Return the characteristic shear beside a hole at which the beam splits along the grain, N.

    14 b sqrt(h_e / (1 - h_e/h)), EN 1995-1-1 8.1.4 eq. (8.4), calibrated on softwood; from memory.
    """
    edge = loaded_edge_mm(beam)
    return 14.0 * beam.breadth_mm * math.sqrt(edge / (1.0 - edge / beam.depth_mm))


def crack_line_share(beam: Beam) -> float:
    """Return the part of the pin's force that crosses the crack line, 1 - 3 a^2 + 2 a^3, a = h_e/h.

    Rule for reinforced cross connections in national annexes to EN 1995-1-1, from memory.
    """
    a = loaded_edge_mm(beam) / beam.depth_mm
    return 1.0 - 3.0 * a**2 + 2.0 * a**3


def screws_withdrawal_n(screws: ReinforcingScrews, density_kg_m3: float) -> float:
    """Return the characteristic withdrawal of all screws on one side of the crack line, N.

    f = 7e-4 rho^1.6 d^-0.34 N/mm2 on pi d l, self-tapping screws in European ash, beech and robinia
    (CIB-W18/46-7-4, 2013, read second hand). Both sides of the line carry the same force.
    """
    strength = 7e-4 * density_kg_m3**1.6 * screws.diameter_mm**-0.34
    thread_area = math.pi * screws.diameter_mm * screws.length_each_side_mm
    return float(screws.count * strength * thread_area)


def core_mm(screws: ReinforcingScrews) -> float:
    """Return the core diameter: measured, else 0.7 x the outer one (common practice, no source)."""
    return screws.core_mm if screws.core_mm is not None else 0.7 * screws.diameter_mm


def screws_tension_n(screws: ReinforcingScrews, steel_mpa: float = 400.0) -> float:
    """Return the tension at which the cores of all screws break, N.

    400 N/mm2 is the low end of what common screws show (common practice, no source).
    """
    return screws.count * steel_mpa * math.pi / 4.0 * core_mm(screws) ** 2
