import dataclasses
import math
import os
import re

import h5py
import numpy as np
import pytest

from daq.faults import RecordingFault
from daq.record import pull_file
from daq.record.events import Event, EventKind
from daq.record.header import ZeroRecord
from daq.record.pull_file import FLOOR_BYTES, PullFile, disk_free_bytes
from daq.record.reader import read_recording


def test_what_went_in_comes_out(finished, header, samples_at):
    recording = read_recording(finished)

    assert recording.complete
    assert recording.cut_short == ""
    assert recording.header == header
    np.testing.assert_array_equal(recording.samples, samples_at(0, 23 * 8))
    assert recording.events[2] == Event(EventKind.MARK, 46, 2, "mark 2", 4.5)
    assert recording.result == {"kind": "failed", "max_force_n": 4690.5}
    assert recording.history == ()


def test_samples_cannot_be_changed(finished):
    recording = read_recording(finished)
    with pytest.raises(ValueError, match="read-only"):
        recording.samples["counts"][0, 0] = 1


def test_name_says_when_which_pull_and_what(finished):
    assert finished.name == "2026-11-25T101502-03-D-07.h5"


def test_nothing_is_overwritten(write_open):
    first, second = write_open(1), write_open(2)
    first.abort("test")
    second.abort("test")
    assert second.path.name == "2026-11-25T101502-03-D-07-2.h5"
    assert len(read_recording(first.path).samples) == 23


@pytest.mark.parametrize(
    "label",
    [
        "../../etc/passwd",
        "CON",
        "a\x1b[2Jb\0c",
        "C:\\x",
        "\u202egnp.exe",
        "x" * 10_000_000,
        ". ",
        "ä/ö",
    ],
)
def test_hostile_label_stays_a_plain_name_in_the_folder(tmp_path, header, label):
    hostile = dataclasses.replace(header, specimen={"label": label, label: "=1+1"})
    pull = PullFile.create(tmp_path, hostile, 2)
    pull.abort("test")

    assert pull.path.parent == tmp_path
    assert re.fullmatch(r"2026-11-25T101502-03(-[A-Za-z0-9_-]{1,40})?\.h5", pull.path.name)
    kept = read_recording(pull.path).header
    assert kept == hostile
    assert str(kept.specimen["label"]).isprintable()


def test_open_file_is_readable_and_says_it_is_not_finished(write_open):
    pull = write_open(5)
    pull.append(np.zeros(3, pull._dtype))  # not committed

    recording = read_recording(pull.path)

    assert len(recording.samples) == 5 * 23
    assert not recording.complete
    assert "cut short" in recording.cut_short
    with h5py.File(pull.path) as plain:  # no lock, no special mode
        assert plain["entry/raw/counts"].shape == (115, 2)
    pull.abort("test")


def test_abort_keeps_everything_and_says_why(write_open):
    pull = write_open(2)
    pull.append(np.zeros(3, pull._dtype))
    pull.abort("The disk is nearly full.")
    recording = read_recording(pull.path)
    assert len(recording.samples) == 49
    assert recording.cut_short == "The disk is nearly full."


def test_closing_zero_is_kept(write_open, header):
    zero = ZeroRecord((1.5, -2.5), (0.5, 0.25), header.started_at, 9)
    pull = write_open(1)
    pull.finish({}, zero, None)
    assert read_recording(pull.path).zero_after == zero


def test_numbers_that_are_none_come_back_as_none(write_open):
    pull = write_open(1)
    pull.finish({"yield_force_n": math.nan, "cracks": np.int64(2), "flags": ("a", "b")}, None, None)
    assert read_recording(pull.path).result == {
        "yield_force_n": None,
        "cracks": 2,
        "flags": ["a", "b"],
    }


def test_a_flood_of_events_is_counted_not_kept(write_open, monkeypatch):
    monkeypatch.setattr(pull_file.layout, "MAX_EVENTS", 10)
    pull = write_open(1)
    for number in range(30):
        pull.event(Event(EventKind.BAD_LINE, number, number, "x" * 1000))
    pull.finish({}, None, None)
    recording = read_recording(pull.path)
    assert (len(recording.events), recording.events_not_kept) == (10, 21)
    assert len(recording.events[-1].text.encode()) <= 200


def test_wrong_number_of_cells_is_refused(tmp_path, header, write_open):
    with pytest.raises(RecordingFault, match="3 channels"):
        PullFile.create(tmp_path, header, 3)
    pull = write_open(1)
    with pytest.raises(RecordingFault, match="do not belong"):
        pull.append(np.zeros(1, "i4"))
    pull.abort("test")


def test_folder_that_cannot_be_made(tmp_path, header):
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordingFault, match="Choose a folder"):
        PullFile.create(tmp_path / "file" / "below", header, 2)
    with pytest.raises(RecordingFault, match="Choose a folder"):
        disk_free_bytes(tmp_path / "nowhere")


def test_too_little_room_is_said_before_anything_is_made(tmp_path, header, monkeypatch):
    monkeypatch.setattr(pull_file, "disk_free_bytes", lambda _: FLOOR_BYTES - 1)
    with pytest.raises(RecordingFault, match="Make room"):
        PullFile.create(tmp_path, header, 2)
    assert list(tmp_path.iterdir()) == []


def test_general_viewers_find_what_to_plot(finished):
    """NeXus manual, "Associating plottable data using attributes applied to the NXdata group"."""
    with h5py.File(finished) as file:
        entry = file[file.attrs["default"]]
        assert entry.attrs["NX_class"] == "NXentry"
        plot = entry[entry.attrs["default"]]
        assert plot.attrs["NX_class"] == "NXdata"
        signal, axis = plot[plot.attrs["signal"]], plot[plot.attrs["axes"][0].decode()]
        assert signal.shape == axis.shape == (184,)
        assert (signal.attrs["units"], axis.attrs["units"]) == ("N", "s")
        raw = entry["raw"]
        assert [axis.decode() for axis in raw.attrs["axes"]] == ["board_us", "."]
        assert raw[raw.attrs["signal"]].ndim == 2
        assert entry["sample/pilot_mm"][()] == 8.5
        assert entry["sample/pilot_mm"].attrs["units"] == "mm"
        assert entry["instrument/lever/jack_arm_mm"][()] == 402.0


def test_a_file_system_without_links(tmp_path, header, monkeypatch):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(pull_file.Path, "hardlink_to", refused)
    first, second = PullFile.create(tmp_path, header, 2), PullFile.create(tmp_path, header, 2)
    first.abort("test")
    second.abort("test")
    assert first.path != second.path
    assert sorted(tmp_path.iterdir()) == sorted([first.path, second.path])


def test_after_a_fault_of_the_disk_the_last_commit_stands(write_open, monkeypatch):
    pull = write_open(3)

    def full(sync):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pull._held, "commit", full)
    pull.append(np.zeros(5, pull._dtype))
    with pytest.raises(RecordingFault, match="The 69 samples committed before"):
        pull.commit()
    with pytest.raises(RecordingFault, match="No space left"):
        pull.commit()
    assert pull.abort("no room") == pull.path
    assert len(read_recording(pull.path).samples) == 69


@pytest.mark.skipif(os.name != "posix", reason="an open file cannot be deleted there")
@pytest.mark.parametrize("end", [lambda p: p.commit(sync=True), lambda p: p.finish({}, None, None)])
def test_a_deleted_file_is_noticed(write_open, end):
    pull = write_open(2)
    pull.path.unlink()
    with pytest.raises(RecordingFault, match="deleted while it was being written"):
        end(pull)
    pull.abort("gone")
