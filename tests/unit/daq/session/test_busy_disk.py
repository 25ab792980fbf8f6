"""A disk that is busy for seconds: what comes meanwhile is handed to the system all the same."""

import errno
import os
import threading
import time

import h5py
import numpy as np
import pytest

from daq.acquisition import Acquisition
from daq.force.calibration import Calibration
from daq.live_reading import Recording
from daq.record import pull_file
from daq.record import recorder as recorders
from daq.record.pull_file import PullFile
from daq.record.reader import read_recording
from daq.record.recorder import Begin, End, Recorder, Rows
from daq.samples import sample_dtype
from daq.wire.decoded import Decoded

DEADLINE_S = 20.0


@pytest.fixture
def begin(bench):
    """A pull that begins, as the session offers it, and the samples it had."""
    one = bench(auto_zero=True)
    one.feed([0.0] * 1500)
    one.feed(np.linspace(0.0, 1500.0, 1500))
    return next(each for each in one.offered if isinstance(each, Begin))


def more(first: int, count: int = 20) -> Rows:
    samples = np.zeros(count, sample_dtype(2))
    samples["index"] = np.arange(first, first + count)
    return Rows(samples)


def test_commits_go_on_while_the_disk_is_busy(tmp_path, begin, monkeypatch):
    """A kill then loses a batch, not the seconds for which the disk was busy."""
    recorder = Recorder(tmp_path)
    recorder.handle(begin)
    (path,) = tmp_path.glob("*.h5")
    asked, free = threading.Event(), threading.Event()

    def busy(_):
        asked.set()
        assert free.wait(DEADLINE_S)

    monkeypatch.setattr(pull_file.os, "fsync", busy)
    disk = threading.Thread(target=recorder.sync)
    disk.start()
    assert asked.wait(DEADLINE_S)
    before = len(read_recording(path).samples)
    for number in range(1, 6):
        recorder.handle(more(10_000 + 20 * number))
        recorder.tick(number * recorders.COMMIT_NS)
    with h5py.File(path) as plain:
        assert len(plain["entry/raw/index"]) == before + 100
    free.set()
    disk.join(DEADLINE_S)
    recorder.close()
    assert read_recording(path).complete


def test_a_file_gets_its_name_before_the_disk_has_it(tmp_path, begin, monkeypatch):
    """A pull that begins waits for no disk: until then a kill leaves nothing of it."""

    def never(_):
        raise AssertionError("waited for the disk")

    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "fsync", never)
        pull = PullFile.create(tmp_path, begin.header, 2)
        pull.append(begin.past[-1])
        assert pull.commit() == len(begin.past[-1])
    pull.sync()
    pull.abort("test")
    pull.sync()  # closed: nothing is left to do


def test_a_disk_that_fails_in_the_background_is_told_at_the_next_commit(
    tmp_path, begin, monkeypatch
):
    recorder = Recorder(tmp_path)
    recorder.handle(begin)
    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "fsync", fails)
        recorder.sync()
    assert recorder.state.state is Recording.WRITING
    recorder.tick(recorders.COMMIT_NS)
    assert recorder.state.state is Recording.FAULT
    assert "Input/output error" in recorder.state.message
    assert "mend the disk" in recorder.state.message


def fails(_):
    raise OSError(errno.EIO, os.strerror(errno.EIO))


def test_what_the_disk_says_of_one_pull_ends_no_other(tmp_path, begin, monkeypatch):
    """The first pull was written anew and put on the disk when it ended: it is told, and saved."""
    recorder = Recorder(tmp_path)
    recorder.handle(begin)
    asked, free = threading.Event(), threading.Event()

    def late(_):
        asked.set()
        assert free.wait(DEADLINE_S)
        fails(_)

    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "fsync", late)
        disk = threading.Thread(target=recorder.sync)
        disk.start()
        assert asked.wait(DEADLINE_S)
    recorder.handle(End({}, None, "slack"))
    recorder.handle(begin)
    free.set()
    disk.join(DEADLINE_S)
    recorder.tick(recorders.COMMIT_NS)
    assert recorder.state.state is Recording.WRITING
    recorder.close()
    assert len(recorder.saved) == 2


def test_a_disk_that_failed_just_before_the_end_is_told(tmp_path, begin, monkeypatch):
    recorder = Recorder(tmp_path)
    recorder.handle(begin)
    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "fsync", fails)
        recorder.sync()
    recorder.handle(End({}, None, "slack"))
    assert recorder.state.state is Recording.SAVED
    assert "look at the disk" in recorder.state.message
    assert "Input/output error" in recorder.state.message
    assert read_recording(recorder.saved[0]).complete


def test_a_folder_that_is_renamed_in_a_pull_keeps_it_whole(tmp_path, begin):
    """No copy can be made beside it: it is ended in its own place, under its new name."""
    here, there = tmp_path / "pulls", tmp_path / "monday"
    recorder = Recorder(here)
    recorder.handle(begin)
    here.rename(there)
    recorder.handle(End({"kind": "failed"}, None, "slack"))
    (path,) = there.iterdir()
    assert read_recording(path).complete
    assert read_recording(path).result["kind"] == "failed"


def test_a_question_the_disk_does_not_answer_is_told(tmp_path, begin, monkeypatch):
    recorder = Recorder(tmp_path)
    recorder.handle(begin)
    with monkeypatch.context() as patch:
        patch.setattr(pull_file.os, "fstat", fails)
        recorder.tick(recorders.ROOM_NS)
    assert recorder.state.state is Recording.FAULT
    assert "Input/output error" in recorder.state.message


def test_a_session_ends_though_the_disk_does_not_answer(tmp_path, bench, monkeypatch):
    free = threading.Event()
    monkeypatch.setattr("daq.acquisition.SYNC_S", 0.001)
    monkeypatch.setattr("daq.acquisition.JOIN_S", 0.5)
    asked = threading.Event()

    def busy(_):
        asked.set()
        assert free.wait(DEADLINE_S)

    monkeypatch.setattr(Recorder, "sync", busy)
    rig = bench().rig
    session = Acquisition(rig, Calibration.from_rig(rig), Silent, folder=tmp_path)
    session.start()
    assert asked.wait(DEADLINE_S)
    session.close()
    assert session.fault is None
    free.set()


def test_a_session_asks_for_the_disk_beside_the_recorder(tmp_path, bench, monkeypatch):
    """Once a second, by a thread of its own; a session without a folder has nothing to ask."""
    monkeypatch.setattr("daq.acquisition.SYNC_S", 0.001)
    asked = threading.Event()
    monkeypatch.setattr(Recorder, "sync", lambda _: asked.set())
    rig = bench().rig
    for folder in (None, tmp_path):
        session = Acquisition(rig, Calibration.from_rig(rig), Silent, folder=folder)
        session.start()
        assert folder is None or asked.wait(DEADLINE_S)
        session.close()


class Silent:
    """A board that says nothing."""

    def read(self):
        return Decoded(np.empty(0, dtype=sample_dtype(2)), ()), self.now_ns()

    def finish(self):
        return self.read()[0]

    def now_ns(self):
        time.sleep(0.001)
        return time.monotonic_ns()

    def set_alarm(self, *, raised):
        pass

    def close(self):
        pass
