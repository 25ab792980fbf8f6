"""A round of weights as it is taken: a plain points file, and its raw stretches beside it.

The points file (CSV, read by ``pullstand calibrate --points`` at any time) is written anew as a
whole with each point and put in place of the old one in one step: a killed program leaves the old
or the new one. The raw stretches (JSON, one a line, the plan on the first) are only ever appended;
a last line that was cut short is passed over. Nothing is taken out of either.
"""

import csv
import io
import json
import os
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from daq.faults import InputFault, Problem
from daq.force.guided_weights import Guided, Plateau, Step, Stretch, WeightsPlan, begin
from daq.force.points_file import CELL, read_points
from daq.force.weights import local_gravity
from daq.record.inert_text import inert, sheet_text

FORM = "pullstand weights 1"
RAW_ENDING = ".raw.jsonl"


def raw_file(draft: Path) -> Path:
    """Return where the raw stretches of a draft are kept."""
    return draft.with_name(draft.name + RAW_ENDING)


def begin_draft(path: Path, plan: WeightsPlan) -> Guided:
    """Start a new draft. Raises InputFault where a file of either name is there already."""
    try:
        with raw_file(path).open("x", encoding="utf-8", newline="\n") as file:
            _write_line(file, {"form": FORM, "plan": asdict(plan)})
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(points_text(begin(plan)))
    except FileExistsError as error:
        raise _fault(error.filename, "exists, and is never replaced: give another name") from None
    except OSError as error:
        raise _fault(path, f"cannot be written: {error.strerror}") from None
    return begin(plan)


def resume_draft(path: Path) -> Guided:
    """Return where a draft stopped. Raises InputFault where it is no draft, or was edited apart."""
    plan = _plan(path)
    table = read_points(path, local_gravity(None)).points
    if len(table) > len(plan.steps) + sum(bool(point.void) for point in table):
        raise _fault(path, "holds more points than its plan has steps: give it as --points")
    state = begin(plan)
    points: list[Plateau] = []
    for point in table:
        step = state.step
        if step is None or (point.series, point.direction) != (step.series, step.direction):
            raise InputFault(
                [Problem(str(path), point.line, "series", "is not the step that was due here: "
                         "give the file as --points, or begin a new draft")]
            )  # fmt: skip
        points.append(Plateau(step, point.responses, point.void))
        state = replace(state, points=tuple(points))
    return begin(plan, tuple(points))


def keep(path: Path, state: Guided, taken: Stretch | None) -> None:
    """Write the points of ``state``; the raw stretch of the newest first. Raises InputFault."""
    try:
        if taken is not None:
            _keep_stretch(path, state, taken)
        fresh = path.with_name(f".{path.name}.new")
        with fresh.open("w", encoding="utf-8", newline="\n") as file:
            file.write(points_text(state))
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except OSError as error:
        raise _fault(path, f"cannot be written: {error.strerror}; make room, then resume") from None


def points_text(state: Guided) -> str:
    """Return the points file of a round of weights."""
    plan = state.plan
    names = [f"{CELL}{name}" for name in plan.cells] if len(plan.cells) > 1 else ["response"]
    out = io.StringIO()
    known = inert(plan.known).replace(",", ";")  # a comma would begin a cell
    build = inert(plan.build).replace(",", ";")
    out.write(f"# weights at the {plan.load_at}; known: {known}; rig build {build}\n")
    out.write(f"# mean counts of steady plateaus; raw counts in *{RAW_ENDING}\n")
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["mass_kg", *names, "direction", "series", "void"])
    for point in state.points:
        step = point.step
        counts = [f"{count:.2f}" for count in point.counts]
        void = sheet_text(point.void)
        row = [f"{step.mass_kg:.9g}", *counts, step.direction, step.series, void]
        rows.writerow(row)
    return out.getvalue()


def _keep_stretch(path: Path, state: Guided, taken: Stretch) -> None:
    point = state.points[-1]
    with raw_file(path).open("r+", encoding="utf-8", newline="\n") as file:
        text = file.read()
        if text and not text.endswith("\n"):
            file.write("\n")  # a line cut short stays as it is, on a line of its own
        _write_line(
            file,
            {
                "point": len(state.points),
                "step": asdict(point.step),
                "mean_counts": point.counts,
                "judged": taken.words,
                "seconds": [round(float(second), 6) for second in taken.seconds],
                "counts": taken.counts.tolist(),
            },
        )


def _write_line(file: Any, held: dict[str, Any]) -> None:
    file.write(json.dumps(held, ensure_ascii=False) + "\n")
    file.flush()
    os.fsync(file.fileno())


def _plan(path: Path) -> WeightsPlan:
    file = raw_file(path)
    try:
        with file.open(encoding="utf-8") as lines:
            held = json.loads(lines.readline())
        if held["form"] != FORM:
            raise ValueError("of another form")
        plan: dict[str, Any] = held["plan"]
        lists = ("cells", "counts_per_newton", "signs", "noise_allowed")
        plan |= {name: tuple(plan[name]) for name in lists}
        plan["steps"] = tuple(Step(**step) for step in plan["steps"])
        return WeightsPlan(**plan)
    except OSError as error:
        raise _fault(file, f"cannot be read: {error.strerror}; the draft needs it") from None
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _fault(file, f"is not the plan of a draft ({error}): begin a new one") from None


def _fault(path: Path | str, message: str) -> InputFault:
    return InputFault([Problem(str(path), None, "", message)])
