"""The live forms of ``pullstand calibrate``: rounds of weights, ratio check, check weight."""

import argparse
import re
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.calibration_fit import Session
from daq.force.check_weight import TOLERANCE, Check
from daq.force.checks_file import keep_check_weight, keep_ratio, latest_ratio
from daq.force.guided_weights import Guided, begin
from daq.force.weights_draft import begin_draft, keep
from daq.force.weights_plan import calibration_plan, check_plan, ratio_plan, read_masses
from daq.rig.rig import Rig
from tui.guided_rounds import walk
from tui.output import print_json, say, show
from tui.typed_lines import ask
from tui.weights_order import check_of, draft_file, ratio_of, resume_weights


def live_points(args: argparse.Namespace, session: Session) -> Path:
    """Go through a calibration's rounds, a draft's rest if there is one; return its points file."""
    rig = _rig(session)
    draft = args.draft or draft_file(rig, date.today())
    state = _resumed(draft, rig, args) if draft.exists() else _begun(draft, rig, args)
    if not state.done:
        say(f"Weights known: {session.weights.words}. Load at the {state.plan.load_at}.")
        if state.plan.load_at == "specimen":
            say("The lever is calibrated with the cells: its ratio will not be applied again.")
        say(f"Each point is kept in {draft} as it comes; the same command goes on from there.")
        walk(rig, args.port, state, lambda now, taken: keep(draft, now, taken))
    say(f"points: {draft}")
    return draft


def _begun(draft: Path, rig: Rig, args: argparse.Namespace) -> Guided:
    plan = calibration_plan(
        rig,
        read_masses(args.masses or _ask_masses()),
        args.rounds or max(2, len(rig.cells)),
        args.load_at,
        args.weights,
        summed=args.sum,
    )
    return begin_draft(draft, plan)


def _ask_masses() -> str:
    if not sys.stdin.isatty():
        raise InputFault(
            '--masses: name the weights there are, with their units: --masses "0, 5 kg, 10 kg"; '
            "or give --points FILE, --ratio-check or --check-weight"
        )
    return ask("Which weights are there, with their units? Such as 5 kg, 10 kg, 20 kg:")


def _resumed(draft: Path, rig: Rig, args: argparse.Namespace) -> Guided:
    state = resume_weights(draft, rig)
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
    found = ratio_of(rig, done)
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
        show(f"{check.words}.")
    say(f"kept in {file}")
    if check.blocks:
        raise InputFault(
            f"{rig.path}: lever: pulling waits until the rig file is corrected, the check is made "
            "again, or accepted: pullstand calibrate --rig FILE --acknowledge REASON"
        )
    return 0


def acknowledge_ratio(rig: Rig, reason: str) -> int:
    """Accept the newest ratio check of this build, and keep why."""
    found = latest_ratio(rig)
    if found is None or not found.beside(rig).blocks:
        raise InputFault("--acknowledge: no ratio check of this rig build waits to be accepted")
    if not reason.strip():
        raise InputFault("--acknowledge: say why: people ask later")
    accepted = replace(found, acknowledged=" ".join(reason.split()))
    file = keep_ratio(rig, accepted)
    show(f"{accepted.beside(rig).words}.")
    say(f"kept in {file}")
    return 0


def live_check_weight(args: argparse.Namespace, session: Session) -> int:
    """Put the check weight on, compare it with the calibration in use, keep the outcome."""
    rig = _rig(session)
    calibration = Calibration.from_rig(rig)
    ((typed, mass_kg),) = _one(args.check_weight)
    plan = check_plan(rig, (typed, mass_kg), args.load_at, args.weights)
    within = _within(args.within)
    done = walk(rig, args.port, begin(plan), lambda *_: None)
    check = check_of(rig, calibration, done, session.gravity, within)
    file = keep_check_weight(
        args.out, check, rig=rig, calibration=calibration.fingerprint, typed=typed
    )
    if args.json:
        print_json(_check_document(check, file))
    else:
        show(f"{check.words}.")
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
