"""The species table: clear-wood averages at 12 % moisture, with the source of each row."""

import csv
import functools
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files

from daq.faults import InputFault


@dataclass(frozen=True, slots=True)
class Species:
    """One row of species.csv. None: the source gives no value."""

    name: str
    g12: float | None
    density_12_kg_m3: float | None
    g0: float | None  # by conversion from g12
    rho_k_kg_m3: float | None  # strength classes of EN 338 alone
    nds_group: str
    nds_g0: float | None  # NDS Table 12.3.3A
    source: str
    status: str
    note: str


@functools.cache
def table() -> tuple[Species, ...]:
    """Return all rows, in the order of the file."""
    text = files("analysis.predictions").joinpath("species.csv").read_text(encoding="utf-8")
    return tuple(_species(row) for row in csv.DictReader(text.splitlines()))


def find(name: str) -> Species:
    """Return the row whose name holds every word of ``name`` ("sugar maple", "C24").

    Raises:
        InputFault: none or several rows fit; the nearest or all of them are named.
    """
    wanted = set(_words(name))
    rows = [row for row in table() if wanted and wanted <= set(_words(row.name))]
    exact = [row for row in rows if set(_words(row.name)) == wanted]
    if len(exact) == 1 or len(rows) == 1:
        return (exact or rows)[0]
    if rows:
        listed = "; ".join(row.name for row in rows)
        raise InputFault(f'species: "{name}" fits several rows: {listed}. Name one.')
    near = get_close_matches(name.lower(), [row.name.lower() for row in table()], n=3, cutoff=0.4)
    hint = f"nearest: {'; '.join(near)}" if near else "see species.csv for the names"
    raise InputFault(f'species: "{name}" is not in the table; {hint}; or give G12= or G0= instead')


def _words(name: str) -> list[str]:
    return name.lower().replace(",", " ").replace("(", " ").replace(")", " ").split()


def _species(row: dict[str, str]) -> Species:
    def number(key: str) -> float | None:
        return float(row[key]) if row[key] else None

    return Species(
        row["species"],
        number("G12"),
        number("density_12_kg_m3"),
        number("G0"),
        number("rho_k_kg_m3"),
        row["nds_group"],
        number("nds_G0"),
        row["source"],
        row["status"],
        row["note"],
    )
