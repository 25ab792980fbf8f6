"""Lines of Python that work out a force again from a recording, with h5py alone."""

from analysis.report.evidence import Evidence

LINES = """\
import json
import h5py

entry = h5py.File({file!r})["entry"]
rows = entry["commits"]["rows"][-1]              # rows after this were never confirmed
counts = entry["raw/counts"][:rows]              # a row for each sample, a column for each cell
header = json.loads(entry["header"][()])
calibration, ratio = json.loads(header["calibration"]), header["ratio"]
for later in entry["history"].values():          # corrections, oldest first: the newest holds
    if "calibration_json" in later:
        calibration = json.loads(bytes(later["calibration_json"][:]))
    ratio = json.loads(later["json"][()])["change"].get("ratio", ratio)
net = (counts - header["zero_before"]["counts"]) * calibration["signs"]
{force}
if calibration["load_at"] == "cells":            # weights that hung at the specimen include it
    force = force * ratio
print(force.max(), "N at the specimen")
"""
EACH = 'force = sum(net[:, i] / c["coefficients"][1] for i, c in enumerate(calibration["curves"]))'
SUM = 'force = net.sum(axis=1) / calibration["curves"][0]["coefficients"][1]'


def recompute_lines(evidence: Evidence) -> tuple[str, ...]:
    """Return the lines for the first pull that failed and was zeroed, or the first of all."""
    shown = next((s for s in evidence.pulls if s.result.valid), evidence.pulls[0])
    force = SUM if evidence.calibrations[shown.calibration].summed else EACH
    text = LINES.replace("{file!r}", repr(shown.result.file.name)).replace("{force}", force)
    return tuple(text.splitlines())
