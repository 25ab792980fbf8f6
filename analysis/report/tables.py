"""Results and curves as CSV: units in headers, decimal point, nothing a spreadsheet would run."""

import csv
import io
import math
from collections.abc import Iterable, Sequence

import numpy as np

from analysis.comparison import Comparison
from analysis.pull_curve import pull_curve
from analysis.report.answers import Answer
from analysis.report.evidence import Shown
from daq.record.inert_text import sheet_text
from daq.record.reader import Recording

Cell = str | float | int | None


def cell(value: Cell) -> str:
    """Return one cell: text made safe, a number with a decimal point, nothing for none."""
    if value is None:
        return ""
    if isinstance(value, str):
        return sheet_text(value)
    if isinstance(value, float) and not math.isfinite(value):
        return ""
    return f"{value:.10g}"


def csv_text(rows: Iterable[Sequence[Cell]]) -> str:
    """Return rows as CSV (RFC 4180, line ends LF)."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(map(cell, row) for row in rows)
    return out.getvalue()


def results_csv(pulls: Sequence[Shown]) -> str:
    """Return every pull as a row: results first, then what was written down of the specimen."""
    keys = sorted({key for shown in pulls for key in shown.result.specimen} - {"label", "series"})
    head = [*RESULT_COLUMNS, *(f"specimen {key}" for key in keys)]
    return csv_text([head, *(_result_row(shown, keys) for shown in pulls)])


RESULT_COLUMNS = (
    *("file", "label", "series", "started_at", "kind", "kind_by", "mode", "mode_by", "counts"),
    *("reason_invalid", "max_force_n", "U95_max_force_n", "u_max_force_n", "time_to_max_s"),
    *(
        "yield_force_n",
        "yield_rule",
        "cracks",
        "f_per_mm_n_per_mm",
        "strength_f_over_d_l_n_per_mm2",
    ),
    *("strength_f_over_pi_d_l_n_per_mm2", "head_strength_n_per_mm2", "median3_max_force_n"),
    *("longest_rest_s", "residual_n", "flags", "chain", "calibration", "sha256"),
)


def _result_row(shown: Shown, keys: Sequence[str]) -> list[Cell]:
    r, course, thread = shown.result, shown.result.course, shown.result.thread
    return [
        *(r.file.name, shown.label, shown.series, shown.started_at.isoformat(), r.kind.value),
        *(r.kind_by, r.mode, r.mode_by, "yes" if r.valid else "no"),
        *(r.reason, r.max_force_n, r.U95_max_force_n, r.u_max_force_n, r.time_to_max_s),
        *(r.yield_force_n, course.yield_rule, r.cracks, r.f_per_mm_n, thread.strength_d_l_mpa),
        *(thread.strength_pi_d_l_mpa, thread.head_strength_mpa, float(course.median3_max_force_n)),
        *(course.longest_rest_s, course.residual_n, "; ".join(r.flags), r.chain),
        *(shown.calibration, shown.sha256),
        *(r.specimen.get(key) for key in keys),
    ]


def groups_csv(answers: Sequence[tuple[str, Answer]]) -> str:
    """Return the groups of every comparison; ``answers`` come with the name of their series."""
    head = (
        *("series", "by", "block", "level", "n", "n_at_least", "n_invalid", "n_partial"),
        *("mean_n", "ci95_low_n", "ci95_high_n", "sd_n", "cov", "characteristic_n"),
        *("mean_is_at_least_n", "pulls_for_10_percent"),
    )
    rows = [row for series, answer in answers for row in _group_rows(series, answer.found)]
    return csv_text([head, *rows])


def _group_rows(series: str, found: Comparison) -> list[list[Cell]]:
    return [
        [
            *(series, found.by, found.block, group.level, group.n, group.n_at_least),
            *(group.n_invalid, group.n_partial, group.mean_n, *group.ci95_n, group.sd_n),
            *(group.cov, group.characteristic_n, group.at_least_n, group.needed_for_mean),
        ]
        for group in found.groups
    ]


def differences_csv(answers: Sequence[tuple[str, Answer]]) -> str:
    """Return the differences of every comparison with their intervals and verdicts."""
    head = (
        *("series", "by", "block", "a", "b", "difference_n", "ci95_low_n", "ci95_high_n"),
        *("together_low_n", "together_high_n", "p", "verdict", "pulls_per_group", "sentence"),
    )
    rows: list[list[Cell]] = [
        [
            *(series, answer.found.by, answer.found.block, pair.a, pair.b, pair.difference_n),
            *(*pair.ci95_n, *pair.ci95_together_n, pair.p, pair.verdict.value, pair.needed),
            pair.sentence,
        ]
        for series, answer in answers
        for pair in answer.found.pairs
    ]
    return csv_text([head, *rows])


def curve_csv(recording: Recording) -> str:
    """Return a whole recording as CSV: seconds, force, raw counts of each cell, flags.

    Times are on the recording's own clock; the force is by the newest calibration.
    """
    names = [sheet_text(f"counts {cell.name}") for cell in recording.header.cells]
    head = csv_text([["time_s", "force_at_specimen_n", *names, "flags", "index"]])
    samples = recording.samples
    if not len(samples):
        return head
    curve = pull_curve(recording)
    columns = [
        np.char.mod("%.6f", curve.seconds),
        np.char.mod("%.4f", curve.forces.at_specimen_n),
        *(samples["counts"][:, place].astype(str) for place in range(len(names))),
        samples["flags"].astype(str),
        samples["index"].astype(str),
    ]
    return head + "".join(
        f"{','.join(row)}\n" for row in zip(*(c.tolist() for c in columns), strict=True)
    )
