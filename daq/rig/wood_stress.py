"""What the beam's wood may carry: the person's own values, else handbook values cut down.

Handbook values are means of small clear pieces. They are cut to a low value that 95 % of pieces
pass, 1 - 1.645 COV, then divided by a factor for load time, grain and safety (practice of ASTM
D2555 and D245; COV 16 % bending, 14 % shear, factors 2.1 / 2.3 and 4.1 / 4.5 for softwoods and
hardwoods, all from memory). Values of strength classes are characteristic already and are taken as
EN 1995-1-1 takes them: k_mod 0.9 / gamma_M 1.3, and 0.67 of the breadth in shear for cracks (from
memory).
"""

import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from daq.rig.rig import Beam

TABLE = Path(__file__).with_name("species_strength.csv")

BENDING_COV = 0.16
SHEAR_COV = 0.14
DENSITY_COV = 0.10  # of specific gravity in a species, from memory
BENDING_FACTOR = {"softwood": 2.1, "hardwood": 2.3}
SHEAR_FACTOR = {"softwood": 4.1, "hardwood": 4.5}
CLASS_FACTOR = 0.9 / 1.3
CRACKED_BREADTH = 0.67
#: Divisor on a characteristic bearing or splitting value (common practice, no source).
JOINT_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class Species:
    """One row of the table: means of clear wood, or characteristic values of a strength class."""

    name: str
    wood: Literal["softwood", "hardwood"]
    is_class: bool
    density_kg_m3: float
    bending_mpa: float | None
    shear_mpa: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Allowed:
    """An allowed value in N/mm2 (or kg/m3), None where nobody knows it, and how it came about."""

    value: float | None
    source: str


@cache
def species_table() -> tuple[Species, ...]:
    """Return every species and strength class that the rig knows."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return tuple(_species(row) for row in csv.DictReader(file))


def find_species(name: str) -> Species | None:
    """Return the species of a name ("beech, American", "beech", "C24"), or None.

    A part of a name counts where only one species begins with it or carries it as a word.
    """
    wanted = name.casefold().strip().removeprefix("en 338 ")
    table = species_table()
    exact = [one for one in table if one.name.casefold() == wanted]
    words = [one for one in table if wanted in _words(one.name)]
    found = exact or words
    return found[0] if len(found) == 1 else None


def allowed_bending(beam: Beam) -> Allowed:
    """Return the allowed bending stress, N/mm2."""
    if beam.allowed_bending_mpa is not None:
        return Allowed(beam.allowed_bending_mpa, "allowed bending as given in the rig file")
    species = find_species(beam.species or "")
    if species is None:
        return _unknown(beam, "bending")
    if species.is_class:
        return _from_class(species, species.bending_mpa, CLASS_FACTOR, "0.9 / 1.3")
    factor = BENDING_FACTOR[species.wood]
    return _from_mean(species, species.bending_mpa, BENDING_COV, factor)


def allowed_shear(beam: Beam) -> Allowed:
    """Return the allowed shear stress along the grain, N/mm2."""
    if beam.allowed_shear_mpa is not None:
        return Allowed(beam.allowed_shear_mpa, "allowed shear as given in the rig file")
    species = find_species(beam.species or "")
    if species is None:
        return _unknown(beam, "shear")
    if species.is_class:
        factor = CLASS_FACTOR * CRACKED_BREADTH
        return _from_class(species, species.shear_mpa, factor, "0.67 x 0.9 / 1.3")
    factor = SHEAR_FACTOR[species.wood]
    return _from_mean(species, species.shear_mpa, SHEAR_COV, factor)


def allowed_bearing(beam: Beam) -> Allowed:
    """Return the allowed bearing stress of a pin across the grain, N/mm2.

    Embedment of bolts, EN 1995-1-1 eq. (8.31) to (8.33), read second hand:
    0.082 (1 - 0.01 d) rho / (k + 0.015 d), k 1.35 softwood, 0.90 hardwood; divided by 2.
    """
    if beam.allowed_bearing_mpa is not None:
        return Allowed(beam.allowed_bearing_mpa, "allowed bearing as given in the rig file")
    density = low_density(beam)
    if density.value is None:
        return Allowed(None, density.source)
    species = find_species(beam.species or "")
    k = 0.90 if species is not None and species.wood == "hardwood" else 1.35
    along = 0.082 * (1.0 - 0.01 * beam.hole_mm) * density.value
    across = along / (k + 0.015 * beam.hole_mm)
    return Allowed(
        across / JOINT_FACTOR,
        f"bolt embedment across the grain {across:.1f} N/mm2 / {JOINT_FACTOR:g}, {density.source}",
    )


def low_density(beam: Beam) -> Allowed:
    """Return the density to count with: of this beam, else the species' mean cut to its low end."""
    if beam.density_kg_m3 is not None:
        return Allowed(beam.density_kg_m3, f"density {beam.density_kg_m3:.0f} kg/m3 as given")
    species = find_species(beam.species or "")
    if species is None:
        return Allowed(None, "give density, or a species of the table, in [beam]")
    if species.is_class:
        return Allowed(species.density_kg_m3, f"characteristic density of {species.name}")
    low = species.density_kg_m3 * (1.0 - 1.645 * DENSITY_COV)
    return Allowed(low, f"low density {low:.0f} kg/m3 of {species.name}")


def _words(name: str) -> set[str]:
    plain = name.casefold()
    return {plain, plain.split(",")[0], *plain.replace(",", " ").replace("(", " ").split()}


def _from_mean(species: Species, mean: float | None, cov: float, factor: float) -> Allowed:
    if mean is None:
        return Allowed(None, f"the table has no value for {species.name}")
    low = 1.0 - 1.645 * cov
    words = f"handbook mean of {species.name} {mean:g} N/mm2 x {low:.3f} / {factor:g}"
    return Allowed(mean * low / factor, words)


def _from_class(species: Species, value: float | None, factor: float, shown: str) -> Allowed:
    if value is None:
        return Allowed(None, f"the table has no value for {species.name}")
    return Allowed(value * factor, f"strength class {species.name} {value:g} N/mm2 x {shown}")


def _unknown(beam: Beam, what: str) -> Allowed:
    if beam.species:
        several = [
            one.name for one in species_table() if beam.species.casefold() in _words(one.name)
        ]
        why = f"could be {' or '.join(several)}" if several else "is not in the table"
        return Allowed(None, f'"{beam.species}" {why}; give allowed_{what} in [beam]')
    return Allowed(None, f"give allowed_{what}, or a species, in [beam]")


def _species(row: dict[str, str]) -> Species:
    return Species(
        name=row["species"],
        wood="hardwood" if row["wood"] == "hardwood" else "softwood",
        is_class=row["basis"] == "characteristic",
        density_kg_m3=float(row["density_kg_m3"]),
        bending_mpa=float(row["bending_mpa"]) if row["bending_mpa"] else None,
        shear_mpa=float(row["shear_mpa"]) if row["shear_mpa"] else None,
        source=row["source"],
    )
