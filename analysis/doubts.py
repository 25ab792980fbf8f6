"""Every reason to look at a pull twice that its recording can show. The words are part of the JSON.

Limits are common practice, no source, unless said otherwise.
"""

import math
from collections.abc import Iterator

import numpy as np

from analysis.landmarks import Landmarks
from analysis.pull_curve import PullCurve
from analysis.recorded_chain import recorded_zero
from daq.record.events import EventKind
from daq.record.reader import Recording
from daq.samples import Flag

AROUND_MAXIMUM_S = 2.0  # in all
LONG_GAP_S = 0.2
RAW_OVER_MEDIAN = 0.01
ZERO_DRIFT = 0.005  # of the maximum
LONG_REST_S = 10.0
USUAL_TIME_S = (60.0, 120.0)  # EN 1382: 90 +- 30 s (from memory)
UNEVEN_SHARE = 0.65
TOUCH_PART = 0.05  # of the stop force

NO_SAMPLES = "no samples"
CUT_SHORT = "cut short"
NO_PULL = "no pull in it"
TOUCH = "a touch, not a pull"
UNFINISHED = "neither failed nor wound back"
UNCERTAIN = "maximum uncertain"
REST = "rest before the maximum"


def doubts(curve: PullCurve, marks: Landmarks, recording: Recording) -> tuple[str, ...]:
    """Return the reasons, the gravest first."""
    return (
        *_of_the_record(curve, recording),
        *_of_the_maximum(curve, recording),
        *_of_the_samples(curve),
        *_of_the_zero(curve, recording),
        *_of_the_course(curve, marks),
    )


def is_touch(curve: PullCurve, stop_n: float) -> bool:
    """Whether the largest force is too small for a pull."""
    return not curve.peak.force_n >= TOUCH_PART * stop_n


def _of_the_record(curve: PullCurve, recording: Recording) -> Iterator[str]:
    if recording.cut_short:
        yield CUT_SHORT
    if is_touch(curve, recording.header.stop_n):
        yield TOUCH
    elif not curve.happenings:
        yield NO_PULL
    elif curve.outcome.value == "slack":
        yield UNFINISHED
    kinds = {event.kind for event in recording.events}
    for event in recording.events:
        if event.kind is EventKind.TRIP:
            yield f"trip: {event.text.partition(':')[0]}"
            break
    if EventKind.LINK_LOST in kinds:
        yield "link lost"


def _of_the_maximum(curve: PullCurve, recording: Recording) -> Iterator[str]:
    if curve.top < 0:
        return
    near = np.abs(curve.seconds - curve.peak.seconds) < AROUND_MAXIMUM_S / 2
    gap_s = longest_gap_s(curve)
    if gap_s > LONG_GAP_S:
        yield UNCERTAIN
    elif (curve.flags[near] & int(Flag.GAP)).any():
        yield "gap near the maximum"
    if curve.peak.force_n - curve.peak.median3_n > RAW_OVER_MEDIAN * curve.peak.force_n:
        yield "single-sample maximum"
    if curve.chain.calibration.expired(recording.header.started_at.date()):
        yield "calibration expired"
    if not curve.chain.calibration.verified:
        yield "calibration not verified"
    elif curve.forces.extrapolated[curve.top]:
        yield "beyond the verified range"
    share = _largest_share(curve)
    if share > UNEVEN_SHARE:
        yield "cells share beyond 65/35"


def longest_gap_s(curve: PullCurve) -> float:
    """Return the longest time without a sample in the two seconds around the maximum."""
    if curve.top < 0:
        return 0.0
    top_s, half = curve.peak.seconds, AROUND_MAXIMUM_S / 2
    first = int(np.searchsorted(curve.seconds, top_s - half)) - 1
    last = int(np.searchsorted(curve.seconds, top_s + half)) + 1
    steps = np.diff(curve.seconds[max(0, first) : last])
    return float(steps.max(initial=0.0))


def _largest_share(curve: PullCurve) -> float:
    cells_n = curve.forces.cells_n[curve.top]
    if len(cells_n) < 2 or not cells_n.sum() > 0.0:
        return 0.0
    return float(cells_n.max() / cells_n.sum()) * len(cells_n) / 2.0


def _of_the_samples(curve: PullCurve) -> Iterator[str]:
    within = curve.flags[curve.first :]
    if (within & int(Flag.SATURATED)).any():
        yield "saturated"
    if curve.peak.spikes:
        yield "spikes left out"
    if (within & int(Flag.SUSPECT)).any():
        yield "suspect readings left out"
    if (within & int(Flag.STUCK)).any():
        yield "value stuck"
    if (within & int(Flag.RESTART)).any():
        yield "board restart"


def _of_the_zero(curve: PullCurve, recording: Recording) -> Iterator[str]:
    if recording.header.zero_before is None:
        yield "no zero before"
    if recording.zero_after is None:
        yield "no zero after"
    elif recording.header.zero_before is not None:
        shift_n = curve.chain.zero_shift_n(recorded_zero(recording.zero_after))
        if abs(shift_n) > ZERO_DRIFT * curve.peak.force_n:
            yield "zero drifted"


def _of_the_course(curve: PullCurve, marks: Landmarks) -> Iterator[str]:
    if marks.rest_before_maximum_s > LONG_REST_S:
        yield REST
    time_s = curve.peak.seconds - curve.began_s
    if math.isfinite(time_s) and not USUAL_TIME_S[0] <= time_s <= USUAL_TIME_S[1]:
        yield "time to maximum not 60-120 s"
    if any(happening.kind == "reopened" for happening in curve.happenings):
        yield "fell and climbed again"
