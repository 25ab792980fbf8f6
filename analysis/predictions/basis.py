"""Bringing the wood that was given to the basis of a formula: convert with a word, or refuse.

The means (G12, G0, Gb, a weighed density) convert into each other by the handbook. A characteristic
density is no mean, and a mean no characteristic density: those are refused.
"""

from typing import Literal, cast

from analysis.predictions import specific_gravity as gravity
from analysis.predictions.keys import Inputs
from analysis.predictions.species import Species, find
from daq.faults import InputFault

Basis = Literal["G12", "G0", "rho_k", "none"]
_MEANS = ("G12", "G0", "Gb", "density_kg_m3")
#: Every key that can tell the wood.
WOOD_KEYS = (*_MEANS, "moisture_pct", "rho_k", "species")


def wood_in(basis: Basis, inputs: Inputs) -> tuple[float, tuple[str, ...]]:
    """Return the wood in the basis of a formula, and words on what was converted or left."""
    if basis == "none":
        return 0.0, ()
    row = find(inputs.words["species"]) if "species" in inputs.words else None
    given = [key for key in (*_MEANS, "rho_k") if key in inputs.numbers]
    if basis in given:
        others = [key for key in given if key != basis] + (["species"] if row else [])
        note = f"{basis} was used; {', '.join(others)} was not" if others else ""
        return inputs.numbers[basis], (note,) if note else ()
    if basis == "rho_k":
        return _characteristic(row, given)
    means = [key for key in given if key != "rho_k"]
    if means:
        return _converted(basis, means[0], inputs)
    if row is not None:
        return _of_species(basis, row)
    if "rho_k" in given:
        raise InputFault(
            f"rho_k: a characteristic density is a 5th percentile with its moisture; this source "
            f"works with the mean, {basis}=. It is not converted"
        )
    raise InputFault(f"the wood is missing: give {basis}=, another specific gravity, or species=")


def _characteristic(row: Species | None, given: list[str]) -> tuple[float, tuple[str, ...]]:
    if row is not None and row.rho_k_kg_m3 is not None:
        return row.rho_k_kg_m3, (f"rho_k {row.rho_k_kg_m3:g} of {row.name}, {row.source}",)
    what = "species" if row is not None else ", ".join(given)
    if what:
        raise InputFault(
            f"{what}: gives a mean; this source works with rho_k=, the 5th percentile of density "
            "in kg/m3, which no mean tells. It is not converted"
        )
    raise InputFault(
        "the wood is missing: give rho_k= in kg/m3, or species= a strength class (C24)"
    )


def _converted(basis: Basis, key: str, inputs: Inputs) -> tuple[float, tuple[str, ...]]:
    given = inputs.numbers[key]
    word = f"{key} {given:g}"
    if key == "density_kg_m3":
        if "moisture_pct" not in inputs.numbers:
            raise InputFault("density_kg_m3: needs moisture_pct=, the moisture it was weighed at")
        moisture = inputs.numbers["moisture_pct"]
        if not (0.0 <= moisture <= 200.0 and 50.0 <= given <= 1600.0):
            raise InputFault(
                f"density_kg_m3 {given:g} at moisture_pct {moisture:g}: no wood; write kg/m3 and "
                "percent"
            )
        word += f" at {moisture:g} % moisture"
        g12 = gravity.g12_from_density(given, moisture)
    elif not 0.0 < given < 1.5:
        raise InputFault(f"{key}: {given:g} is no specific gravity of wood, such as 0.50")
    else:
        g12 = gravity.g12_from_g0(given) if key == "G0" else given
        g12 = gravity.at_moisture(given, 12.0) if key == "Gb" else g12
    value = g12 if basis == "G12" else gravity.g0_from_g12(g12)
    return value, (f"{word} converted to {basis} {value:.4f} (Wood Handbook Eq. 4-12 to 4-14)",)


def _of_species(basis: Basis, row: Species) -> tuple[float, tuple[str, ...]]:
    if row.rho_k_kg_m3 is not None:
        raise InputFault(f"species: {row.name} is graded timber, not a species; give {basis}=")
    if basis == "G0" and row.nds_g0 is not None:
        return row.nds_g0, (f"G0 {row.nds_g0:g} of {row.nds_group}, NDS Table 12.3.3A",)
    g12 = row.g12
    if g12 is None:
        density = cast(float, row.density_12_kg_m3)
        g12 = gravity.g12_from_density(density, 12.0)
    word = f"G12 {g12:.3f} of {row.name}: an average of the species, {row.source}"
    if basis == "G12":
        return g12, (word,)
    g0 = gravity.g0_from_g12(g12)
    return g0, (word, f"converted to G0 {g0:.4f} (Wood Handbook Eq. 4-12, 4-13)")
