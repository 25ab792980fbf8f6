"""A kill between any two pages that a commit writes: the file opens and holds the commit before.

Not at random: every page written while a recording is made and finished is a moment of its own. A
page is what a kill leaves whole or not at all (the kernel looks for a deadly signal between pages).
"""

import errno
import os
from functools import partial

import h5py
import numpy as np
import pytest
from record_writer_child import HEADER, block

from daq.faults import RecordingFault
from daq.record import header as headers
from daq.record import pull_file, reader
from daq.record.contents import open_contents
from daq.record.events import Event, EventKind
from daq.record.held_file import PAGE, HeldFile
from daq.record.pull_file import Forces, PullFile
from daq.record.reader import read_recording
from daq.record.seal import add_seal

BATCH, BATCHES = 60, 20  # over the end of a chunk


class Watched(HeldFile):
    """A held file that notes each page it writes, as (position, bytes), and each length it sets."""

    written: list = []  # noqa: RUF012 - one recording at a time

    def __init__(self, raw):
        super().__init__(_Noting(raw, self.written))


class _Noting:
    def __init__(self, raw, written):
        self._raw, self._written = raw, written

    def __getattr__(self, name):
        return getattr(self._raw, name)

    def write(self, data):
        at = self._raw.tell()
        data = bytes(data)
        for start in range(0, len(data), PAGE):
            self._written.append((at + start, data[start : start + PAGE]))
        return self._raw.write(data)

    def truncate(self, size):
        self._written.append((size, None))
        return self._raw.truncate(size)


@pytest.fixture
def recorded(tmp_path, monkeypatch):
    """An open recording, the image it began with, what was written, rows at each commit."""
    monkeypatch.setattr(pull_file, "HeldFile", Watched)
    monkeypatch.setattr(Watched, "written", [])
    pull = PullFile.create(tmp_path, headers.from_json(HEADER.read_text(encoding="utf-8")), 2)
    image, commits = pull.path.read_bytes(), []
    for number in range(BATCHES):
        pull.append(block(number * BATCH, BATCH))
        if number % 3 == 0:
            pull.event(Event(EventKind.MARK, number, number, "mark"))
        pull.commit()
        commits.append((len(Watched.written), pull.rows))
    yield pull, image, Watched.written[:], commits
    pull._let_go()


def killed_after(image, written):
    """Yield what is on the disk after each page."""
    data = bytearray(image)
    for at, page in written:
        if page is None:
            data = data[:at].ljust(at, b"\0")
        else:
            data = data.ljust(at, b"\0")
            data[at : at + len(page)] = page
        yield bytes(data)


def test_a_kill_between_two_pages(recorded, monkeypatch):
    pull, image, written, commits = recorded
    path = pull.path.with_name("killed.h5")
    monkeypatch.setattr(reader, "read_guarded", partial(open_contents, sealed=False))
    right = block(0, BATCH * BATCHES)
    due = 0
    for number, data in enumerate(killed_after(image, written), start=1):
        due = max([rows for at, rows in commits if at <= number], default=0)
        path.write_bytes(data)
        with h5py.File(path) as plain:
            plain["entry/raw/counts"][:]
            assert plain["entry"].attrs["state"] in ("open", "finished")
        recording = read_recording(path)
        assert len(recording.samples) in (due, due + BATCH)
        np.testing.assert_array_equal(
            recording.samples["counts"], right["counts"][: len(recording.samples)]
        )
    assert due == BATCH * BATCHES
    assert len(written) > 200


def ended(pull, how):
    count = np.arange(pull.rows, dtype=float)
    forces = Forces(count, count, count)
    pull.finish({"max_force_n": 1.0}, None, forces) if how == "finish" else pull.abort("no room")


@pytest.mark.parametrize("how", ["finish", "abort"])
def test_a_file_is_ended_in_one_step(recorded, monkeypatch, how):
    """Until then the name stands for what the last commit left; a kill leaves a hidden copy."""
    pull, *_ = recorded
    before = pull.path.read_bytes()
    seen = []

    def look(file):
        seen.append(pull.path.read_bytes() == before)
        add_seal(file)

    monkeypatch.setattr(pull_file, "add_seal", look)
    ended(pull, how)
    assert seen == [True]
    assert read_recording(pull.path).complete == (how == "finish")
    assert len(read_recording(pull.path).samples) == BATCH * BATCHES
    assert list(pull.path.parent.iterdir()) == [pull.path]


def test_a_file_that_cannot_be_ended_stays_as_it_was(recorded, monkeypatch):
    pull, *_ = recorded
    before = pull.path.read_bytes()

    def full(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(pull_file, "add_seal", full)
    with pytest.raises(RecordingFault, match="No space left"):
        ended(pull, "finish")
    assert pull.path.read_bytes() == before
    assert list(pull.path.parent.iterdir()) == [pull.path]
