"""The energy in the loaded rig, in joules and in words."""

from daq.units import STANDARD_GRAVITY_M_S2


def stored_energy_j(force_n: float, stiffness_n_per_mm: float) -> float:
    """Return F^2 / (2 k) in J of a linear spring loaded to a force in N."""
    return force_n**2 / (2.0 * stiffness_n_per_mm) / 1000.0


def energy_in_words(energy_j: float) -> str:
    """Return an energy as a falling hammer, such as "like a 1 kg hammer dropped from 1.3 m"."""
    mass_kg = 1 if energy_j < 30.0 else 5
    height_m = energy_j / (mass_kg * STANDARD_GRAVITY_M_S2)
    height = f"{height_m:.1f} m" if height_m >= 1.0 else f"{100.0 * height_m:.0f} cm"
    return f"like a {mass_kg} kg hammer dropped from {height}"
