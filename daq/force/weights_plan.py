"""Which weights, in which order, on which rig: from what a person typed to a plan of steps."""

from daq.faults import InputFault
from daq.force.guided_weights import (
    LIGHTEST_BUCKET_N,
    Step,
    WeightsPlan,
    calibration_steps,
    ratio_steps,
)
from daq.force.lever import LoadAt, jack_force_n
from daq.force.zero import USUAL_CAPACITY_COUNTS
from daq.rig.rig import Cell, Rig
from daq.units import STANDARD_GRAVITY_M_S2, parse_mass_kg

FEWEST_WEIGHTS = 2
#: A cell that scatters more than this at rest, of its capacity, is not fit for a calibration
#: (common practice, no source).
NOISE_OF_CAPACITY = 0.0005


def read_masses(text: str, option: str = "--masses") -> tuple[tuple[str, float], ...]:
    """Return masses such as "0, 5 kg, 10 kg" as (typed, kg), lightest first, without the zero.

    Raises InputFault: no unit, none or one alone, two alike.
    """
    found = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        if part == "0":
            continue
        try:
            found.append((part, parse_mass_kg(part)))
        except ValueError as error:
            raise InputFault(f"{option}: {error}") from None
    found = sorted((typed, kg) for typed, kg in found if kg != 0.0)
    found.sort(key=lambda each: each[1])
    negative = [typed for typed, kg in found if kg < 0.0]
    if negative:
        raise InputFault(f"{option}: {negative[0]}: no weight is below nothing")
    masses = [kg for _, kg in found]
    if len(set(masses)) < len(masses):
        raise InputFault(f"{option}: the same weight is there twice: name each one once")
    return tuple(found)


def calibration_plan(
    rig: Rig,
    masses: tuple[tuple[str, float], ...],
    series: int,
    load_at: LoadAt,
    known: str,
    *,
    summed: bool,
) -> WeightsPlan:
    """Return the rounds of a calibration. Several cells get their weights over each in turn.

    Raises InputFault: too few weights, too few rounds, more than a cell may carry.
    """
    if len(masses) < FEWEST_WEIGHTS:
        given = masses[0][0] if masses else "none"
        raise InputFault(
            f"--masses: {given}: one weight cannot show its own error; give two or more that "
            'differ, such as "0, 5 kg, 10 kg, 20 kg"'
        )
    over: tuple[str, ...] = ()
    if load_at == "cells" and len(rig.cells) > 1 and not summed:
        over = tuple(cell.name for cell in rig.cells)
    if not max(1, len(over)) <= series <= 9:
        least = max(1, len(over))
        why = f": one round over each of the {least} cells at least, or --sum" if over else ""
        raise InputFault(f"--rounds {series}: {least} to 9 rounds{why}")
    _refuse_overload(rig, masses, load_at)
    return _plan(rig, calibration_steps(masses, series, over), load_at, known)


def check_plan(rig: Rig, weight: tuple[str, float], load_at: LoadAt, known: str) -> WeightsPlan:
    """Return the steps of the daily check weight: nothing, the weight, nothing."""
    _refuse_overload(rig, (weight,), load_at)
    return _plan(rig, calibration_steps((weight,), 1), load_at, known)


def ratio_plan(rig: Rig) -> WeightsPlan:
    """Return the steps of the ratio check; the bucket may weigh anything."""
    return _plan(rig, ratio_steps(), "cells", "unknown")


def _plan(rig: Rig, steps: tuple[Step, ...], load_at: LoadAt, known: str) -> WeightsPlan:
    part = 1.0 if load_at == "cells" else jack_force_n(1.0, rig.lever)
    slopes = [cell.counts_per_newton or _usual(cell) for cell in rig.cells]
    return WeightsPlan(
        steps=steps,
        cells=tuple(cell.name for cell in rig.cells),
        counts_per_newton=tuple(abs(slope) * part for slope in slopes),
        signs=tuple(
            cell.sign if k > 0 else -cell.sign for cell, k in zip(rig.cells, slopes, strict=True)
        ),
        noise_allowed=tuple(
            NOISE_OF_CAPACITY * abs(k) * cell.capacity_n
            for cell, k in zip(rig.cells, slopes, strict=True)
        ),
        load_at=load_at,
        build=rig.build,
        known=known,
    )


def _usual(cell: Cell) -> float:
    return USUAL_CAPACITY_COUNTS / max(cell.capacity_n, LIGHTEST_BUCKET_N)


def _refuse_overload(rig: Rig, masses: tuple[tuple[str, float], ...], load_at: LoadAt) -> None:
    typed, mass_kg = masses[-1]
    load_n = mass_kg * STANDARD_GRAVITY_M_S2
    if load_at == "specimen":
        load_n = jack_force_n(load_n, rig.lever)
    weakest = min(rig.cells, key=lambda cell: cell.capacity_n)
    if load_n > weakest.capacity_n:
        raise InputFault(
            f"{typed}: {load_n:.0f} N at the cells is more than cell {weakest.name} may carry "
            f"({weakest.capacity_n:.0f} N)"
        )
