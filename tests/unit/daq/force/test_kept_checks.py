"""Checks kept in files: dated, read back, and the pulls they put in doubt."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from analysis.campaign import load_results
from analysis.cautions import cautions
from analysis.check_flags import CheckFlags, in_doubt
from analysis.groups import group_of, sort_pulls
from daq.faults import InputFault
from daq.force.calibration import Calibration
from daq.force.check_weight import Check
from daq.force.checks_file import (
    CHECK_WEIGHTS,
    RatioFound,
    flags_from_checks,
    keep_check_weight,
    keep_ratio,
    latest_ratio,
    ratio_file,
    ratio_problems,
    read_check_weights,
)
from daq.pull_session import PullSession
from daq.record.header import zero_from_plain, zero_to_plain
from daq.record.reader import read_recording
from daq.record.recorder import Recorder
from daq.rig.rig import Cell, Jack, Lever, Link, Rig, Stop
from daq.rig.rig_file import read_rig
from daq.samples import sample_dtype
from daq.session_settings import SessionSettings
from daq.wall_anchor import WallAnchor
from daq.wire.decoded import Decoded
from simulators.simulation import simulate
from tui.commands.demo import demo_rig_file

NOON = datetime.fromisoformat("2031-05-04T12:00:00+02:00")


def a_rig(folder: Path, build: str = "7", jack_arm_mm: float = 400.0) -> Rig:
    return Rig(
        name="test rig",
        build=build,
        link=Link(fields=("left",)),
        cells=(Cell("left", "left", 2000.0, 1, 2000.0),),
        lever=Lever("end", jack_arm_mm, 200.0),
        stop=Stop(6000.0, 5000.0),
        jack=Jack(4.0),
        path=folder / "rig.toml",
    )


def check_at(minutes: float, off: float) -> Check:
    at = NOON + timedelta(minutes=minutes)
    return Check(at.timestamp(), 98.0, 98.0 * (1.0 + off))


def keep(folder: Path, *checks: Check) -> None:
    for check in checks:
        keep_check_weight(folder, check, rig=a_rig(folder), calibration="abc", typed="10 kg")


def recorded(folder: Path) -> tuple[Path, datetime]:
    """One simulated pull, recorded in virtual time; its file, and when it began."""
    simulation = simulate("hardwood-withdrawal", seed=5)
    rig = read_rig(demo_rig_file())
    recorder = Recorder(folder)
    session = PullSession(
        rig,
        Calibration.from_rig(rig),
        recorder.handle,
        SessionSettings(auto_zero=True),
        has_board_clock=True,
        anchor=WallAnchor(NOON, 0),
    )
    samples = np.zeros(simulation.samples, dtype=sample_dtype(2))
    samples["index"] = np.arange(simulation.samples)
    samples["board_us"] = simulation.board_us
    samples["arrival_ns"] = samples["board_us"].astype(np.int64) * 1000
    samples["counts"] = simulation.counts
    for block in np.array_split(samples, len(samples) // 40):
        now_ns = int(block["arrival_ns"][-1])
        decoded = Decoded(block, ())
        session.take(decoded, session.guard(decoded, now_ns), now_ns)
    (file,) = recorder.saved
    return file, read_recording(file).header.started_at


def said_of(result) -> list[str]:
    """The cautions of a comparison that holds one pull."""
    result = replace(result, specimen={"pilot_mm": 8.0})
    selection = sort_pulls([result], "pilot_mm")
    return cautions(selection, [group_of(selection, level) for level in selection.levels])


def test_check_weights_are_read_back_in_order(tmp_path):
    checks = (check_at(0, 0.002), check_at(60, 0.03))
    keep(tmp_path / "pulls", *checks)
    read = read_check_weights(tmp_path / "pulls")
    assert [c.at_s for c in read] == pytest.approx([c.at_s for c in checks])
    assert [c.passed for c in read] == [True, False]
    assert read_check_weights(tmp_path) == ()
    first = json.loads((tmp_path / "pulls" / CHECK_WEIGHTS).read_text().splitlines()[0])
    assert (first["weight"], first["build"], first["calibration"]) == ("10 kg", "7", "abc")


def test_a_failed_closing_check_flags_every_pull_since_the_last_good_one():
    checks = (check_at(0, 0.001), check_at(30, 0.002), check_at(90, -0.025))
    flags = [flags_from_checks(checks, NOON + timedelta(minutes=m)) for m in (10, 40, 80)]
    assert flags[0] == ()
    assert flags[1] == flags[2]
    assert "in doubt: check weight failed" in flags[1][0]
    assert "-2.5 %" in flags[1][0]
    assert flags_from_checks((), NOON) == ()


def test_a_line_cut_short_is_passed_over_and_written_over(tmp_path):
    keep(tmp_path, check_at(0, 0.0), check_at(1, 0.0))
    file = tmp_path / CHECK_WEIGHTS
    file.write_bytes(file.read_bytes()[:-30])
    assert len(read_check_weights(tmp_path)) == 1
    keep(tmp_path, check_at(2, 0.0))
    assert len(read_check_weights(tmp_path)) == 2


@pytest.mark.parametrize("spoilt", ["{}", "[1]", "not json", '{"made_at": "noon"}'])
def test_a_damaged_line_is_named(tmp_path, spoilt):
    keep(tmp_path, check_at(0, 0.0))
    file = tmp_path / CHECK_WEIGHTS
    file.write_text(file.read_text() + spoilt + "\n" + file.read_text())
    with pytest.raises(InputFault, match=r"check-weights\.jsonl:2"):
        read_check_weights(tmp_path)


def test_a_ratio_check_belongs_to_its_build_and_blocks_until_mended_or_accepted(tmp_path):
    rig = a_rig(tmp_path)
    assert latest_ratio(rig) is None
    assert ratio_problems(rig) == []
    found = RatioFound(NOON, rig.build, 1000.0, 490.0)
    assert keep_ratio(rig, found) == ratio_file(tmp_path / "rig.toml")
    assert latest_ratio(rig) == found
    (problem,) = ratio_problems(rig)
    assert "More than 1 % apart" in str(problem)
    assert ratio_problems(a_rig(tmp_path, build="8")) == []  # another build, another lever
    assert ratio_problems(a_rig(tmp_path, jack_arm_mm=408.0)) == []  # the tape was read again
    keep_ratio(rig, replace(found, acknowledged="link leans, new pin is ordered"))
    assert ratio_problems(rig) == []


def test_a_ratio_check_that_reads_nothing_is_refused(tmp_path):
    rig = a_rig(tmp_path)
    keep_ratio(rig, RatioFound(NOON, rig.build, 1000.0, 0.0))
    with pytest.raises(InputFault, match="ratio-checks"):
        latest_ratio(rig)


def test_reduction_flags_by_itself_what_the_folder_says(tmp_path):
    """As reduce, compare and report load them."""
    file, started_at = recorded(tmp_path)
    (before,) = load_results([tmp_path])
    assert not in_doubt(before)
    seconds = started_at.timestamp()
    keep(tmp_path, Check(seconds - 900.0, 98.0, 98.1), Check(seconds + 900.0, 98.0, 101.0))
    (after,) = load_results([tmp_path])
    assert in_doubt(after)
    assert set(after.flags) - set(before.flags) == {f for f in after.flags if "doubt" in f}
    assert in_doubt(CheckFlags().on(before, started_at))
    (told,) = (words for words in said_of(after) if "check weight failed" in words)
    assert told.startswith("Pulls in doubt: 1. A check weight failed")
    assert not any("check weight" in words for words in said_of(before))
    assert file == after.file


def test_a_recording_keeps_how_many_samples_its_zeros_are_of(tmp_path):
    file, _ = recorded(tmp_path)
    recording = read_recording(file)
    assert recording.header.zero_before.samples > 100
    assert recording.zero_after.samples > 100
    plain = zero_to_plain(recording.zero_after)
    assert zero_from_plain(plain) == recording.zero_after
    del plain["samples"]  # as files of before have it
    assert zero_from_plain(plain).samples == 1
