"""A person's words reach the recording they are about: the last one, or the one named."""

import numpy as np
import pytest

from daq.live_reading import Recording
from daq.record.reader import read_recording
from daq.record.recorder import Later, Recorder


@pytest.fixture
def two_pulls(bench, tmp_path):
    """A recorder that has kept two pulls."""
    made, recorder = bench(), Recorder(tmp_path)
    made.feed(np.zeros(300))
    made.session.zero(made.now_ns)
    for _ in range(2):
        made.feed(np.linspace(0, 2000, 400))
        made.feed(np.zeros(500))
    for message in made.offered:
        recorder.handle(message)
    assert len(recorder.saved) == 2
    return recorder


def words(path):
    """What was added to a recording, oldest first."""
    return [dict(change.change) for change in read_recording(path).history]


def test_a_word_without_a_name_is_about_the_last_pull(two_pulls):
    two_pulls.handle(Later({"mode": "withdrawal"}, "at the rig"))
    assert [words(path) for path in two_pulls.saved] == [[], [{"mode": "withdrawal"}]]


def test_a_word_with_a_name_is_about_that_pull(two_pulls):
    first = two_pulls.saved[0]
    two_pulls.handle(Later({"photo": "A-01.jpg"}, "later", first))
    two_pulls.handle(Later({"note": "saw it crack"}, "later", first))
    assert words(first) == [{"photo": "A-01.jpg"}, {"note": "saw it crack"}]
    assert words(two_pulls.saved[1]) == []


def test_a_word_that_cannot_be_kept_is_told_and_stops_nothing(two_pulls, tmp_path):
    two_pulls.handle(Later({"note": "x"}, "later", tmp_path / "gone.h5"))
    assert two_pulls.state.state is Recording.SAVED
    assert "gone.h5" in two_pulls.state.message
