"""Writes a plan as a folder a person can read: plan.toml, pulls.csv, list.txt, labels.txt.

plan.toml says why and what (question, decided, factors, boards, seed); pulls.csv is the list in its
order, units in the headers, decimal point. Nothing overwrites a file; departures from the list are
appended to departures.csv. `plan_reading` reads the folder back.
"""

import csv
import io
import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from analysis.campaign_plan import SHUFFLE, Factor, Plan, PlannedPull
from analysis.drill_advice import nearest_drills
from analysis.plan_reading import DEPARTURES, PLAN, PULLS, SHARE_COLUMN, cell
from analysis.plan_sheets import label_sheet, printable_list
from daq.faults import InputFault
from daq.record.inert_text import sheet_text

DEPARTURE_COLUMNS = ("when", "label", "what", "reason")
DRILL_COLUMNS = ("drill_fraction", "drill_number_or_letter", "drill_metric")
_FIRST = ("run", "label", "board", "replicate")
_LAST = ("expected_n", SHARE_COLUMN, "expected_note")


def write_plan(folder: Path, plan: Plan) -> None:
    """Write a plan into a folder that is not there yet.

    Raises:
        InputFault: something of that name is there, or the folder cannot be written.
    """
    texts = {
        PLAN: plan_text(plan),
        PULLS: pulls_text(plan),
        "list.txt": printable_list(plan),
        "labels.txt": label_sheet(plan),
    }
    try:
        folder.mkdir(parents=True)
        for name, text in texts.items():
            with (folder / name).open("x", encoding="utf-8", newline="") as file:
                file.write(text)
    except FileExistsError:
        raise InputFault(f"{folder} is there already; a plan goes into a new folder") from None
    except OSError as error:
        raise InputFault(f"{folder} cannot be written ({error.strerror})") from None


def record_departure(folder: Path, label: str, what: str, reason: str, when: datetime) -> None:
    """Append one departure from the list to departures.csv, with its date and reason.

    Raises:
        InputFault: the reason is empty, or the file cannot be written.
    """
    if not reason.strip():
        raise InputFault(f"{label}: a departure from the list needs its reason")
    path = folder / DEPARTURES
    row = (when.isoformat(timespec="seconds"), label, what, reason)
    try:
        with path.open("a", encoding="utf-8", newline="") as file:
            if file.tell() == 0:
                file.write(_csv_text([DEPARTURE_COLUMNS]))
            file.write(_csv_text([[sheet_text(text) for text in row]]))
    except OSError as error:
        raise InputFault(f"{path} cannot be written ({error.strerror})") from None


def plan_text(plan: Plan) -> str:
    """Return plan.toml."""
    import tomlkit

    design = plan.design
    document = tomlkit.document()
    document.add(tomlkit.comment("A plan of pulls. pulls.csv beside it is the list in its order."))
    head: dict[str, Any] = {
        "question": plan.question,
        "decided": plan.decided,
        "made": plan.made,
        "seed": design.seed,
        "shuffle": SHUFFLE,
        "replicates": design.replicates,
        "cov_pct": 100.0 * plan.cov,
        "difference_pct": 100.0 * plan.difference,
        "needed_per_level": plan.needed_per_level,
        "expect": plan.expect,
        "rig": plan.rig,
        "stop_n": plan.stop_n,
    }
    document["plan"] = {key: value for key, value in head.items() if _is_said(value)}
    document["fixed"] = dict(design.fixed)
    document["factor"] = [
        {"name": factor.name, "levels": [level.text for level in factor.levels]}
        for factor in design.factors
    ]
    document["board"] = [{"name": board.name, **board.values} for board in design.boards]
    return tomlkit.dumps(document)


def pulls_text(plan: Plan) -> str:
    """Return pulls.csv: a header with units, one row for each pull in the order of the list."""
    level_keys = _level_keys(plan.design.factors)
    rows: list[Sequence[str]] = [(*_FIRST, *level_keys, *DRILL_COLUMNS, *_LAST)]
    for pull in plan.pulls:
        rows.append(
            (
                str(pull.run),
                sheet_text(pull.label),
                sheet_text(pull.board),
                str(pull.replicate),
                *(cell(pull.specimen[key]) for key in level_keys),
                *drill_cells(pull),
                cell(pull.expected_n, 1),
                cell(100.0 * pull.expected_of_stop, 1),
                sheet_text(pull.expected_note),
            )
        )
    return _csv_text(rows)


def drill_cells(pull: PlannedPull) -> tuple[str, ...]:
    """Return the nearest drills to the pilot in words, such as "21/64 in (-0.17 mm)"."""
    pilot = pull.specimen.get("pilot_mm")
    if not isinstance(pilot, float):
        return ("",) * len(DRILL_COLUMNS)
    return tuple(f"{d.name} ({d.difference_mm:+.2f} mm)" for d in nearest_drills(pilot))


def _level_keys(factors: Sequence[Factor]) -> tuple[str, ...]:
    return tuple(key for factor in factors for key in factor.levels[0].values)


def _is_said(value: Any) -> bool:
    return value is not None and not (isinstance(value, float) and math.isnan(value))


def _csv_text(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
