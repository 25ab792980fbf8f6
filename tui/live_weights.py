"""The live forms of ``pullstand calibrate``: rounds of weights, ratio check, check weight."""

import argparse
import re
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session
from daq.force.check_weight import TOLERANCE, Check
from daq.force.checks_file import RatioFound, keep_check_weight, keep_ratio
from daq.force.force_chain import ForceChain
from daq.force.guided_weights import Guided, begin
from daq.force.weights import weight_force_n
from daq.force.weights_draft import begin_draft, keep, resume_draft
from daq.force.weights_plan import calibration_plan, check_plan, ratio_plan, read_masses
from daq.force.zero import Zero
from daq.rig.rig import Rig
from tui.guided_rounds import walk
from tui.output import print_json, say


def live_points(args: argparse.Namespace, session: Session) -> Path:
    """Go through a calibration's rounds, a draft's rest if there is one; return its points file."""
    rig = _rig(session)
    draft = args.draft or Path(f"{rig.path.stem if rig.path else 'rig'}-weights-{date.today()}.csv")
    state = _resumed(draft, rig, args) if draft.exists() else _begun(draft, rig, args)
    if not state.done:
        say(f"Weights known: {session.weights.words}. Load at the {state.plan.load_at}.")
        if state.plan.load_at == "specimen":
            say("The lever is calibrated with the cells: its ratio will not be applied again.")
        walk(rig, args.port, state, lambda now, taken: keep(draft, now, taken))
    say(f"points: {draft}")
    return draft


def _begun(draft: Path, rig: Rig, args: argparse.Namespace) -> Guided:
    if not args.masses:
        raise InputFault(
            '--masses: name the weights there are, with their units: --masses "0, 5 kg, 10 kg"; '
            "or give --points FILE, --ratio-check or --check-weight"
        )
    plan = calibration_plan(
        rig,
        read_masses(args.masses),
        args.series or max(2, len(rig.cells)),
        args.load_at,
        args.weights,
        summed=args.sum,
    )
    return begin_draft(draft, plan)


def _resumed(draft: Path, rig: Rig, args: argparse.Namespace) -> Guided:
    state = resume_draft(draft)
    if state.plan.build != rig.build or state.plan.cells != tuple(c.name for c in rig.cells):
        raise InputFault(
            f'{draft}: was begun on build "{state.plan.build}" with the cells '
            f'{", ".join(state.plan.cells)}; this rig is build "{rig.build}": begin a new draft'
        )
    for option, given, held in (
        ("--load-at", args.load_at, state.plan.load_at),
        ("--weights", args.weights, state.plan.known),
    ):
        if given != held:
            raise InputFault(f"{option} {given}: {draft} was begun with {held}: give that")
    say(f"{draft}: goes on after point {len(state.points)} of {len(state.plan.steps)}.")
    return state


def live_ratio_check(args: argparse.Namespace, rig: Rig) -> int:
    """Hang one bucket at two places, compare with the tape measure, keep the outcome."""
    if rig.lever.fulcrum == "between":
        say("Fulcrum between: at the specimen pin the bucket must pull the working way (upwards),")
        say("over a pulley, whose friction then counts.")
    done = walk(rig, args.port, begin(ratio_plan(rig)), lambda *_: None)
    chain = _chain_of_counts(rig)
    zero, jack, between, pin, after = (_signal(chain, done, at) for at in range(5))
    found = RatioFound(
        datetime.now().astimezone(),
        rig.build,
        in_line_with_jack=jack - (zero + between) / 2.0,
        at_specimen_pin=pin - (between + after) / 2.0,
        acknowledged=args.acknowledge or "",
    )
    try:
        check = found.beside(rig)
    except ValueError as error:
        raise InputFault(f"ratio check: {error}") from None
    file = keep_ratio(rig, found)
    if args.json:
        print_json(
            {
                "ratio": check.ratio,
                "tape_ratio": check.tape_ratio,
                "apart_rel": check.apart_rel,
                "blocks": check.blocks,
                "acknowledged": check.acknowledged,
                "file": file,
            }
        )
    else:
        print(f"{check.words}.")  # noqa: T201 - the result of this command
    say(f"kept in {file}")
    if check.blocks:
        raise InputFault(
            f"{rig.path}: lever: pulling waits until the rig file is corrected, the check is made "
            "again, or accepted: --ratio-check --acknowledge REASON"
        )
    return 0


def live_check_weight(args: argparse.Namespace, session: Session) -> int:
    """Put the check weight on, compare it with the calibration in use, keep the outcome."""
    rig = _rig(session)
    calibration = Calibration.from_rig(rig)
    ((typed, mass_kg),) = _one(args.check_weight)
    plan = check_plan(rig, (typed, mass_kg), args.load_at, args.weights)
    within = _within(args.within)
    done = walk(rig, args.port, begin(plan), lambda *_: None)
    zeros = [point.counts for point in done.valid if not point.step.mass_kg]
    (loaded,) = (point.counts for point in done.valid if point.step.mass_kg)
    zero = np.mean(np.array(zeros), axis=0)
    chain = ForceChain(calibration, _zero(tuple(map(float, zero))), rig.lever)
    forces = chain.forces(np.array([loaded]))
    indicated = forces.at_specimen_n if args.load_at == "specimen" else forces.at_cells_n
    check = Check(
        datetime.now().timestamp(),
        weight_force_n(mass_kg, session.gravity.value_m_s2),
        float(indicated[0]),
        within,
    )
    fingerprint = calibration.fingerprint
    file = keep_check_weight(args.out, check, rig=rig, calibration=fingerprint, typed=typed)
    if args.json:
        print_json(_check_document(check, file))
    else:
        print(f"{check.words}.")  # noqa: T201 - the result of this command
    say(f"kept in {file}")
    return 0


def _check_document(check: Check, file: Path) -> dict[str, Any]:
    return {
        "expected_n": check.expected_n,
        "indicated_n": check.indicated_n,
        "error_rel": check.error_rel,
        "tolerance": check.tolerance,
        "passed": check.passed,
        "file": file,
    }


def _rig(session: Session) -> Rig:
    if session.rig is None:
        raise InputFault("--rig: the live form needs the rig file, for its link and its cells")
    return session.rig


def _one(text: str) -> tuple[tuple[str, float], ...]:
    masses = read_masses(text, "--check-weight")
    if len(masses) != 1:
        raise InputFault(f"--check-weight {text}: one weight is meant, such as 10 kg")
    return masses


def _within(text: str | None) -> float:
    if text is None:
        return TOLERANCE
    found = re.fullmatch(r"\s*(\d{1,2}(?:\.\d{1,4})?)\s*%\s*", text)
    if found is None or not 0.0 < float(found[1]) <= 20.0:
        raise InputFault(f'--within {text}: a part such as "1 %" is meant, up to 20 %')
    return float(found[1]) / 100.0


def _zero(counts: tuple[float, ...]) -> Zero:
    nothing = (0.0,) * len(counts)
    return Zero(counts, nothing, nothing, samples=1)


def _chain_of_counts(rig: Rig) -> Calibration | None:
    """Return the calibration in use; without one, counts serve as far as the cells are alike."""
    try:
        return Calibration.from_rig(rig)
    except InputFault:
        if len(rig.cells) > 1:
            say("No calibration: the cells' counts are added as if they were alike.")
        return None


def _signal(calibration: Calibration | None, done: Guided, at: int) -> float:
    counts = np.array(done.valid[at].counts)
    if calibration is None:
        return float(counts @ done.signs)
    return float(calibration.cell_forces_n(counts[None, :]).sum())
