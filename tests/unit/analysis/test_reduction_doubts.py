"""Every doubt a recording can show is told, and none on a clean pull."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from analysis.pull_curve import pull_curve
from analysis.reduction import reduce_recording
from daq.force.calibration import Calibration
from daq.record.events import Event, EventKind
from daq.samples import COUNTS_MAX, Flag

ALWAYS = {"calibration not verified", "penetration not given"}  # of the simulated rig and specimen


def reduce(recording):
    return reduce_recording(recording, recording.path)


def new_flags(recording):
    return set(reduce(recording).flags) - ALWAYS


def changed(recording, change):
    """The recording with its samples changed by ``change(samples, place of the maximum)``."""
    samples = recording.samples.copy()
    kept = change(samples, pull_curve(recording).top)
    return replace(recording, samples=samples if kept is None else kept)


def test_a_clean_pull_raises_no_doubt(recorded):
    recording, _ = recorded()
    assert new_flags(recording) == set()


def flag_of(flag):
    def change(samples, top):
        samples["flags"][top - 300] |= int(flag)

    return change


def gap(samples, top):
    samples["flags"][top + 40] |= int(Flag.GAP)
    return np.concatenate([samples[: top + 10], samples[top + 40 :]])


def short_gap(samples, top):
    samples["flags"][top + 12] |= int(Flag.GAP)
    return np.concatenate([samples[: top + 10], samples[top + 12 :]])


def spike(samples, top):
    samples["counts"][top - 500, 0] += 900_000


def factor_two(samples, top):
    samples["counts"][top - 500 : top - 497] *= 2


def garbled(samples, top):
    samples["counts"][top + 900 : top + 902, 0] += 3_000_000


def stuck(samples, top):
    samples["counts"][top - 400 : top - 370, 1] = samples["counts"][top - 400, 1]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (flag_of(Flag.RESTART), "board restart"),
        (flag_of(Flag.SATURATED), "saturated"),
        (gap, "maximum uncertain"),
        (short_gap, "gap near the maximum"),
        (spike, "spikes left out"),
        (factor_two, "suspect readings left out"),
        (garbled, "suspect readings left out"),
        (stuck, "value stuck"),
    ],
)
def test_what_the_samples_show(recorded, change, words):
    recording, true = recorded()
    result = reduce(changed(recording, change))
    assert words in result.flags
    assert result.max_force_n == pytest.approx(true.max_force_n, rel=0.01)


def test_a_lone_spike_carries_its_mark(recorded):
    """Whatever draws or bridges the curve afterwards goes by the mark."""
    recording, _ = recorded()
    curve, plain = pull_curve(changed(recording, spike)), pull_curve(recording)
    assert (curve.flags & int(Flag.SPIKE)).astype(bool).sum() == curve.peak.spikes == 1
    assert not (plain.flags & int(Flag.SPIKE)).any()


def test_a_gap_across_the_maximum_makes_a_failure_partial(recorded):
    recording, _ = recorded()
    assert reduce(changed(recording, gap)).kind.value == "partial"
    assert reduce(changed(recording, short_gap)).kind.value == "failed"


def test_a_maximum_of_one_sample_is_told(recorded):
    """1.2 % above its neighbours is too little for a spike and too much for wood."""
    recording, true = recorded("split", 200)
    more_n = 0.014 * true.max_force_n
    assert more_n < 30.0  # half a percent of the stop force: a spike from there on

    def change(samples, top):
        samples["counts"][top, 0] += round(more_n / 2.0 * 2143.2)

    assert "single-sample maximum" in new_flags(changed(recording, change))


def test_a_calibration_past_its_last_day_is_told(recorded):
    """Good until the day of the pull itself; the day after it has run out."""
    recording, _ = recorded()
    header = recording.header
    pulled = header.started_at.date()
    for days, expected in ((0, set()), (-1, {"calibration expired"})):
        held = Calibration.from_json(header.calibration)
        last = (pulled + timedelta(days=days)).isoformat()
        text = replace(held, made_on="2020-01-01", expires_on=last).to_json()
        assert new_flags(replace(recording, header=replace(header, calibration=text))) == expected


def test_a_full_scale_reading_is_never_the_maximum(recorded):
    recording, true = recorded()

    def change(samples, top):
        samples["counts"][top - 200] = COUNTS_MAX
        samples["flags"][top - 200] |= int(Flag.SATURATED)

    assert reduce(changed(recording, change)).max_force_n == pytest.approx(
        true.max_force_n, rel=0.01
    )


def test_what_the_zeros_show(recorded):
    recording, true = recorded()
    after = recording.zero_after
    drift_counts = 0.006 * true.max_force_n / 2.0 * 2140.0  # of one cell, at ratio 2
    moved = replace(after, counts=(after.counts[0] + drift_counts, after.counts[1]))
    assert "zero drifted" in new_flags(replace(recording, zero_after=moved))
    assert "no zero after" in new_flags(replace(recording, zero_after=None))
    bare = replace(recording, header=replace(recording.header, zero_before=None))
    assert "no zero before" in new_flags(bare)


def test_what_the_record_shows(recorded):
    recording, _ = recorded()
    short = replace(recording, complete=False, cut_short="The recording was cut short.")
    assert "cut short" in new_flags(short)
    trip = Event(EventKind.TRIP, 10, 10, "specimen force: 6210 N", 6210.0)
    lost = Event(EventKind.LINK_LOST, 10, 10)
    assert {"trip: specimen force", "link lost"} <= new_flags(
        replace(recording, events=(trip, lost))
    )
    empty = replace(recording, samples=recording.samples[:0])
    assert reduce(empty).flags == ("no samples",)
    climb = replace(recording, samples=recording.samples[: pull_curve(recording).top - 50])
    result = reduce(climb)
    assert result.kind.value == "partial"
    assert "neither failed nor wound back" in result.flags


def test_a_touch_is_no_pull(recorded):
    recording, _ = recorded()

    def change(samples, top):
        zero = samples["counts"][100].astype(np.int64)
        samples["counts"] = (zero + 0.03 * (samples["counts"] - zero)).astype(np.int32)

    result = reduce(changed(recording, change))
    assert result.kind.value == "partial"
    assert "a touch, not a pull" in result.flags


def test_a_long_rest_before_the_maximum_is_told_and_makes_it_partial(recorded):
    recording, _ = recorded()
    curve = pull_curve(recording)

    def change(samples, top):
        force = curve.forces.at_specimen_n
        rest = top - 60 - int(np.argmin(np.abs(np.diff(force[top - 160 : top - 60]))))
        wait = np.repeat(samples[rest : rest + 1], 1100)
        joined = np.concatenate([samples[:rest], wait, samples[rest:]])
        joined["index"] = np.arange(len(joined))
        joined["board_us"] = samples["board_us"][0] + np.arange(len(joined)) * 10_750
        joined["arrival_ns"] = joined["board_us"].astype(np.int64) * 1000
        noise = np.random.default_rng(1).integers(-100, 100, (1100, 2))
        joined["counts"][rest : rest + 1100] += noise.astype(np.int32)
        return joined

    result = reduce(changed(recording, change))
    assert "rest before the maximum" in result.flags
    assert result.kind.value == "partial"


def test_an_uneven_pair_is_told(recorded):
    recording, _ = recorded()

    def change(samples, top):
        zero = samples["counts"][100].astype(np.int64)
        load = samples["counts"] - zero
        shift = (0.15 * load.sum(axis=1)).astype(np.int64)
        samples["counts"] = np.column_stack(
            [samples["counts"][:, 0] + shift, samples["counts"][:, 1] - shift]
        )

    assert "cells share beyond 65/35" in new_flags(changed(recording, change))


def test_a_number_that_is_missing_always_has_a_word(recorded):
    recording, _ = recorded("split", 200)
    result = reduce(recording)
    assert np.isnan(result.yield_force_n)
    assert {"no yield seen", "penetration not given"} <= set(result.flags)
    garbage = replace(recording.header, rig=replace(recording.header.rig, text="nothing"))
    blind = reduce(replace(recording, header=garbage))
    assert np.isnan(blind.U95_max_force_n)
    assert "uncertainty unknown" in blind.flags
