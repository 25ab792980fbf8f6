"""A process of its own that reduces a folder of recordings, one JSON line for each.

The console starts it, so that reading and summing delay neither the screen nor the stop.
"""

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from analysis.check_flags import CheckFlags
from analysis.pull_result import PullResult
from analysis.recorded_chain import force_chain
from analysis.reduction import reduce_recording
from daq.faults import Fault
from daq.live_reading import TraceBlock
from daq.record.reader import Recording, read_recording
from daq.wire.sample_clock import fit_clock, seconds
from tui.output import plain
from tui.trace_columns import Trace

COLUMNS = 300


def document(path: Path) -> dict[str, Any]:
    """Return what the console shows of a recording; why not, where it cannot be read."""
    try:
        recording = read_recording(path)
        reduced = reduce_recording(recording, path)
        result = CheckFlags().on(reduced, recording.header.started_at)
    except Fault as fault:
        return {"file": str(path), "refused": str(fault)}
    return {"file": str(path), **_words(result), **_said(recording), "curve": _curve(recording)}


def _words(result: PullResult) -> dict[str, Any]:
    return {
        "specimen": dict(result.specimen),
        "kind": result.kind.value,
        "mode": f"{result.mode} (proposed)" if result.mode_by == "proposed" else result.mode,
        "maximum_n": result.max_force_n,
        "u95_n": result.U95_max_force_n,
        "time_to_max_s": result.time_to_max_s,
        "reason": result.reason,
        "flags": list(result.flags),
    }


def _said(recording: Recording) -> dict[str, str]:
    """Return the newest note and photo."""
    said = {"note": "", "photo": ""}
    for change in recording.history:
        said |= {key: str(change.change[key]) for key in said if key in change.change}
    return said


def _curve(recording: Recording) -> dict[str, Any]:
    """Return the force thinned to columns, every extreme kept."""
    samples, header = recording.samples, recording.header
    if not len(samples):
        return {"span_s": 0.0, "least_n": [], "greatest_n": [], "flags": []}
    at_s = seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    force_n = force_chain(header).forces(samples["counts"]).at_specimen_n
    trace = Trace(0.0)
    trace.add(TraceBlock(at_s, np.nan_to_num(force_n), samples["flags"]))
    span_s = float(at_s[-1]) or 1.0
    columns = trace.columns(span_s, COLUMNS)
    return {
        "span_s": span_s,
        "least_n": columns.least_n,
        "greatest_n": columns.greatest_n,
        "flags": columns.flags,
    }


def main() -> None:
    """Print a line for each recording of the folder named."""
    folder = Path(sys.argv[1])
    for path in sorted(folder.glob("*.h5")):
        print(json.dumps(plain(document(path))), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
