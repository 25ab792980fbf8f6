"""Rounds of weights, from what a person typed to what they end in: a calibration or a check."""

import itertools
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Literal

import numpy as np

from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session, fit_calibration
from daq.force.calibration_text import write_calibration
from daq.force.check_weight import TOLERANCE, Check
from daq.force.checks_file import RatioFound
from daq.force.force_chain import ForceChain
from daq.force.guided_weights import Guided, WeightsPlan
from daq.force.points_file import read_points
from daq.force.weights import Gravity, local_gravity, weight_force_n, weights_known
from daq.force.weights_draft import begin_draft, resume_draft
from daq.force.weights_plan import calibration_plan, read_masses
from daq.force.zero import Zero
from daq.rig.rig import Rig

USUAL = "5 kg, 10 kg, 20 kg; unknown; at cells"
MEANT = f'write the weights, how they are known, and where: "{USUAL}"'


def gravity_at(rig: Rig | None, latitude: float | None, height: float | None) -> Gravity:
    """Return the gravity of a place: as given, else as the rig file says, else of no place."""
    if rig is not None:
        latitude = rig.latitude_deg if latitude is None else latitude
        height = rig.height_m if height is None else height
    return local_gravity(latitude, height or 0.0)


def draft_file(rig: Rig, today: date) -> Path:
    """Return where the weights of a day are kept, in the folder the program was started in."""
    stem = rig.path.stem if rig.path else "rig"
    return Path(f"{stem}-weights-{today}.csv")


def order_weights(text: str, rig: Rig, draft: Path) -> Guided:
    """Begin the round that a person typed. Raises InputFault."""
    masses, *rest = (part.strip() for part in text.split(";"))
    known, load_at = "unknown", "cells"
    for part in filter(None, rest):
        if part in ("at cells", "at specimen"):
            load_at = part.removeprefix("at ")
        else:
            known = part
    try:
        weights_known(known)
    except ValueError as error:
        raise InputFault(f"{error}; {MEANT}") from None
    where: Literal["cells", "specimen"] = "specimen" if load_at == "specimen" else "cells"
    series = max(2, len(rig.cells))
    plan = calibration_plan(rig, read_masses(masses), series, where, known, summed=False)
    return begin_draft(draft, plan)


def resume_weights(draft: Path, rig: Rig) -> Guided:
    """Go on with a draft. Raises InputFault where it belongs to another build of the rig."""
    state = resume_draft(draft)
    if state.plan.build != rig.build or state.plan.cells != tuple(c.name for c in rig.cells):
        raise InputFault(
            f'{draft}: was begun on build "{state.plan.build}" with the cells '
            f'{", ".join(state.plan.cells)}; this rig is build "{rig.build}": begin a new draft'
        )
    return state


def finish(draft: Path, rig: Rig, state: Guided, today: date) -> tuple[Path, tuple[str, ...]]:
    """Fit the points and write the calibration beside the draft; return its file, and the words.

    Raises InputFault; the points are kept all the same.
    """
    gravity = gravity_at(rig, None, None)
    plan = state.plan
    session = Session(
        weights=weights_known(plan.known),
        gravity=gravity,
        load_at=plan.load_at,
        made_on=today.isoformat(),
        rig=rig,
        summed=plan.load_at == "specimen",
    )
    file = _free_name(draft)
    found = fit_calibration(read_points(draft, gravity), session)
    write_calibration(found.calibration, file)
    words = (*_place(rig, draft, plan), *found.calibration.statement.split("\n"))
    return file, (f"Written: {file}.", *words)


def _free_name(draft: Path) -> Path:
    """Return the name of a new calibration from these points; none is ever replaced."""
    names = (draft.with_suffix(f"{tail}.calibration.json") for tail in _tails())
    return next(name for name in names if not name.exists())


def _tails() -> Iterator[str]:
    yield ""
    yield from (f".{number}" for number in itertools.count(2))


def _place(rig: Rig, draft: Path, plan: WeightsPlan) -> tuple[str, ...]:
    """Say how to bring the gravity of the place in, where nobody has named the place."""
    if rig.latitude_deg is not None:
        return ()
    return (
        "The place is unknown, so gravity may be off by 0.27 %. Write `latitude` and `height` into "
        "[rig] of the rig file, then make it anew from the points: pullstand calibrate --points "
        f"{draft} --rig {rig.path or 'FILE'} --weights {plan.known!r} -o NEW",
    )


def ratio_of(rig: Rig, done: Guided) -> RatioFound:
    """Return what one bucket at two places gave: newtons at the cells, or counts of like cells."""
    try:
        calibration: Calibration | None = Calibration.from_rig(rig)
    except InputFault:
        calibration = None
    read = []
    for point in done.valid:
        counts = np.array(point.counts)
        if calibration is None:
            read.append(float(counts @ done.signs))
        else:
            read.append(float(calibration.cell_forces_n(counts[None, :]).sum()))
    zero, jack, between, pin, after = read
    return RatioFound(
        datetime.now().astimezone(),
        rig.build,
        in_line_with_jack=jack - (zero + between) / 2.0,
        at_specimen_pin=pin - (between + after) / 2.0,
    )


def check_of(
    rig: Rig, calibration: Calibration, done: Guided, gravity: Gravity, within: float = TOLERANCE
) -> Check:
    """Return what the check weight reads, its zeros before and after taken off."""
    zeros = [point.counts for point in done.valid if not point.step.mass_kg]
    (loaded,) = (point for point in done.valid if point.step.mass_kg)
    mean = tuple(map(float, np.mean(np.array(zeros), axis=0)))
    nothing = (0.0,) * len(mean)
    chain = ForceChain(calibration, Zero(mean, nothing, nothing, samples=1), rig.lever)
    forces = chain.forces(np.array([loaded.counts]))
    at_specimen = done.plan.load_at == "specimen"
    read = forces.at_specimen_n if at_specimen else forces.at_cells_n
    expected_n = weight_force_n(loaded.step.mass_kg or 0.0, gravity.value_m_s2)
    return Check(datetime.now().timestamp(), expected_n, float(read[0]), within)
