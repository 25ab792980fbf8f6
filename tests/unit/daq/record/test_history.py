import numpy as np
import pytest

from daq.faults import RecordingFault
from daq.record import history
from daq.record.history import add_history
from daq.record.reader import read_recording


def test_changes_stand_beside_the_old_in_order(finished):
    before = read_recording(finished)

    add_history(finished, {"mode": "withdrawal"}, "chosen after a look")
    add_history(finished, {"max_force_n": 4859.0}, "5 kg plates weigh 5.18 kg", {"f_n": np.ones(4)})

    after = read_recording(finished)
    assert after.complete
    assert after.result == before.result
    np.testing.assert_array_equal(after.samples, before.samples)
    assert [change.reason for change in after.history] == [
        "chosen after a look",
        "5 kg plates weigh 5.18 kg",
    ]
    assert after.history[1].change == {"max_force_n": 4859.0}
    np.testing.assert_array_equal(after.history[1].data["f_n"], np.ones(4))
    assert after.history[0].at.utcoffset() is not None
    assert [path.name for path in finished.parent.iterdir()] == [finished.name]


def test_a_reason_is_needed(finished):
    with pytest.raises(RecordingFault, match="reason"):
        add_history(finished, {"kind": "invalid"}, "  ")


def test_only_numbers_can_be_added(finished):
    before = finished.read_bytes()
    with pytest.raises(RecordingFault, match="numbers"):
        add_history(finished, {}, "why", {"x": np.array(["a"])})
    assert finished.read_bytes() == before


def test_cut_short_recording_is_repaired_first(write_open):
    pull = write_open()
    pull._let_go()
    with pytest.raises(RecordingFault, match="repair"):
        add_history(pull.path, {"kind": "invalid"}, "slipped")


@pytest.mark.parametrize("step", ["_append_change", "add_seal"])
def test_failure_at_any_step_leaves_the_recording_as_it_was(finished, monkeypatch, step):
    before = finished.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(history, step, full)
    with pytest.raises(RecordingFault, match=r"No space left.*as it was"):
        add_history(finished, {"mode": "x"}, "why")
    assert finished.read_bytes() == before
    assert [path.name for path in finished.parent.iterdir()] == [finished.name]


def test_two_changes_at_once_do_not_swallow_each_other(finished, monkeypatch):
    append = history._append_change

    def with_another(*arguments):
        monkeypatch.setattr(history, "_append_change", append)
        add_history(finished, {"mode": "splitting"}, "the other program")
        append(*arguments)

    monkeypatch.setattr(history, "_append_change", with_another)
    with pytest.raises(RecordingFault, match="another program"):
        add_history(finished, {"mode": "withdrawal"}, "this program")
    assert [change.reason for change in read_recording(finished).history] == ["the other program"]
