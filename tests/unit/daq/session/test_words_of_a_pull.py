"""What a person says of a pull goes into that pull's file, and never into another's."""

import numpy as np
import pytest

from daq.faults import RecordingFault
from daq.live_reading import Recording
from daq.record import recorder as recorders
from daq.record.reader import read_recording
from daq.record.recorder import Begin, End, Later, Recorder

SAID = Later({"invalid": "slipped"}, "said of this pull")


@pytest.fixture
def pulls(bench):
    """The messages of two pulls, as a session offers them."""
    made = bench()
    made.feed(np.zeros(300))
    made.session.zero(made.now_ns)
    for _ in range(2):
        made.feed(np.linspace(0, 2000, 500))
        made.feed(np.linspace(2000, 0, 50))
        made.feed(np.zeros(800))
    second = [at for at, message in enumerate(made.offered) if isinstance(message, Begin)][1]
    return made.offered[:second], made.offered[second:]


def told(path):
    """Reasons of the changes in a recording."""
    return [change.reason for change in read_recording(path).history]


def test_a_word_during_a_pull_is_added_when_it_ends(pulls, tmp_path):
    recorder = Recorder(tmp_path)
    for message in (pulls[0][0], SAID, *pulls[0][1:], *pulls[1]):
        recorder.handle(message)
    assert [told(path) for path in recorder.saved] == [["said of this pull"], []]


def test_a_word_on_a_pull_that_the_disk_ended_stays_with_it(pulls, tmp_path, monkeypatch):
    """The next pull is another specimen: it must not become invalid by it."""
    recorder = Recorder(tmp_path)
    recorder.handle(pulls[0][0])
    recorder.handle(SAID)

    def full(*_, **__):
        raise RecordingFault("No room.")

    with monkeypatch.context() as patch:
        patch.setattr(recorders.PullFile, "finish", full)
        for message in pulls[0][1:]:
            recorder.handle(message)
    assert recorder.state.state is Recording.FAULT
    for message in pulls[1]:
        recorder.handle(message)
    first, second = recorder.saved
    assert told(second) == []
    assert told(first) == ["said of this pull"]


def test_a_word_on_a_pull_without_a_file_goes_nowhere_and_is_told(pulls, tmp_path, monkeypatch):
    recorder = Recorder(tmp_path)
    for message in pulls[0]:
        recorder.handle(message)

    def no_room(*_, **__):
        raise RecordingFault("No room.")

    with monkeypatch.context() as patch:
        patch.setattr(recorders.PullFile, "create", no_room)
        recorder.handle(pulls[1][0])
    recorder.handle(SAID)
    assert told(recorder.saved[0]) == []
    assert "no file" in recorder.state.message


def test_what_cannot_be_added_is_told_and_the_pull_is_saved(pulls, tmp_path, monkeypatch):
    recorder = Recorder(tmp_path)

    def refuse(*_, **__):
        raise RecordingFault("the change could not be written.")

    monkeypatch.setattr(recorders, "add_history", refuse)
    for message in (pulls[0][0], SAID, *pulls[0][1:]):
        recorder.handle(message)
    assert isinstance(pulls[0][-1], End)
    assert recorder.state.state is Recording.SAVED
    assert recorder.state.message == "the change could not be written."
