import json

import h5py
import numpy as np
import pytest

from daq.faults import RecordingFault
from daq.record.history import add_history
from daq.record.reader import read_recording
from daq.record.repair import examine, write_copy
from daq.samples import Flag
from tui.cli import main


@pytest.fixture
def cut_short(write_open):
    """Return the path of a recording that nobody finished: 8 commits of 23 samples."""
    pull = write_open()
    pull._let_go()  # as a kill leaves it: nothing more is written
    return pull.path


def flip(path, needle, shift=0):
    """Flip one bit where ``needle`` stands in the file."""
    data = bytearray(path.read_bytes())
    data[data.index(needle) + shift] ^= 0x10
    path.write_bytes(data)


def test_whole_recording(finished):
    report = examine(finished)
    assert (report.state, report.recovered_samples, report.lost_estimate_s) == ("whole", 184, 0.0)


def test_cut_short_holds_what_was_committed(cut_short, samples_at):
    report = examine(cut_short)
    assert report.state == "cut short"
    assert report.recovered_samples == 184
    assert 0 <= report.lost_estimate_s <= 0.25
    np.testing.assert_array_equal(report.recording.samples, samples_at(0, 184))


def test_rows_beyond_the_last_commit_are_not_believed(cut_short):
    with h5py.File(cut_short, "r+") as file:
        for dataset in file["entry/raw"].values():
            dataset.resize(500, axis=0)
    assert len(read_recording(cut_short).samples) == 184
    assert examine(cut_short).recovered_samples == 184


def test_torn_last_batch_is_left_out_and_told(cut_short):
    flip(cut_short, np.int32(1830).tobytes())  # the last sample but one
    recording = read_recording(cut_short)
    assert len(recording.samples) == 161
    assert "cut short" in recording.cut_short
    report = examine(cut_short)
    assert (report.state, report.recovered_samples, report.lost_samples) == ("damaged", 161, 23)
    assert report.lost_estimate_s >= 22 * 0.0107


def test_hole_in_the_middle_is_refused_and_repaired_with_a_gap(cut_short, samples_at, tmp_path):
    flip(cut_short, np.int32(600).tobytes())  # sample 60, in the third batch
    with pytest.raises(RecordingFault, match="checksums"):
        read_recording(cut_short)

    write_copy(examine(cut_short), tmp_path / "copy.h5")

    copy = read_recording(tmp_path / "copy.h5")
    right = np.concatenate([samples_at(0, 46), samples_at(69, 115)])
    right["flags"][46] |= Flag.GAP
    np.testing.assert_array_equal(copy.samples, right)
    assert not copy.complete
    assert "Cut short" in copy.cut_short
    assert copy.events[-1].value == 23


def test_finished_file_with_a_flipped_bit_is_refused_and_told(finished, tmp_path):
    flip(finished, np.float64(182.0).tobytes(), 6)  # in the derived force: no sample is touched
    with pytest.raises(RecordingFault, match="after it was closed"):
        read_recording(finished)
    report = examine(finished)
    assert (report.state, report.lost_samples) == ("damaged", 0)

    write_copy(report, tmp_path / "copy.h5")

    copy = read_recording(tmp_path / "copy.h5")
    assert copy.result == {"kind": "failed", "max_force_n": 4690.5}
    assert len(copy.samples) == 184


def test_history_survives_a_repair(finished, tmp_path):
    add_history(finished, {"mode": "withdrawal"}, "looked at the photo", {"x_n": np.arange(3.0)})
    with finished.open("ab") as file:
        file.write(b"\n")  # a program that added a byte: the seal is gone
    write_copy(examine(finished), tmp_path / "copy.h5")
    (change,) = read_recording(tmp_path / "copy.h5").history
    assert change.reason == "looked at the photo"
    np.testing.assert_array_equal(change.data["x_n"], [0, 1, 2])


def test_truncated_file_gives_back_the_batches_before_the_cut(write_open, tmp_path):
    pull = write_open(400)
    pull._let_go()
    data = pull.path.read_bytes()
    pull.path.write_bytes(data[: len(data) * 2 // 3])
    with pytest.raises(RecordingFault, match="repair"):
        read_recording(pull.path)

    report = examine(pull.path)

    assert report.state == "damaged"
    assert 0 < report.recovered_samples < 9200
    assert report.recovered_samples + report.lost_samples == 9200
    right = report.recording.samples["index"] * 10
    np.testing.assert_array_equal(report.recording.samples["counts"][:, 0], right)


def test_what_cannot_be_read_is_said(tmp_path):
    path = tmp_path / "x.h5"
    path.write_bytes(b"no HDF5 at all, but some words that are long enough")
    report = examine(path)
    assert (report.state, report.recovered_samples, report.lost_estimate_s) == (
        "unreadable",
        0,
        None,
    )
    with pytest.raises(RecordingFault, match="nothing could be recovered"):
        write_copy(report, tmp_path / "copy.h5")


def test_nothing_is_overwritten(cut_short):
    before = cut_short.read_bytes()
    with pytest.raises(RecordingFault, match="nothing is overwritten"):
        write_copy(examine(cut_short), cut_short)
    assert cut_short.read_bytes() == before


def test_checksums_of_no_commits_at_all(write_open):
    pull = write_open(0)
    pull._let_go()
    report = examine(pull.path)
    assert (report.state, report.recovered_samples) == ("cut short", 0)
    assert report.lost_estimate_s == 0.25


def test_commits_that_run_backwards_are_refused(cut_short):
    with h5py.File(cut_short, "r+") as file:
        rows = file["entry/commits"][()]
        rows["rows"][3] = 7
        file["entry/commits"][...] = rows
    with pytest.raises(RecordingFault, match="backwards"):
        read_recording(cut_short)


def test_command_prints_json_and_writes_a_copy(cut_short, tmp_path, capsys):
    copy = tmp_path / "copy.h5"
    assert main(["repair", str(cut_short), "-o", str(copy), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["recovered_samples"] == 184
    assert 0 <= told["lost_estimate_s"] <= 0.25
    assert len(read_recording(copy).samples) == 184


@pytest.mark.parametrize("content", [b"", b"junk"])
def test_command_gives_exit_code_5_where_nothing_is_left(tmp_path, capsys, content):
    path = tmp_path / "x.h5"
    path.write_bytes(content)
    assert main(["repair", str(path)]) == 5
    assert main(["repair", str(tmp_path / "none.h5")]) == 5
    captured = capsys.readouterr()
    assert "Traceback" not in captured.out + captured.err
