"""The threads: a stop waits for nobody, the alarm line falls in every end, faults are handed up."""

import threading
import time
from dataclasses import replace

import numpy as np
import pytest

from daq.acquisition import Acquisition
from daq.faults import DeviceFault, RecordingFault
from daq.force.calibration import Calibration
from daq.live_reading import Recording
from daq.record.events import EventKind
from daq.record.reader import read_recording
from daq.record.recorder import Recorder, Rows
from daq.samples import sample_dtype
from daq.session_settings import SessionSettings
from daq.sources import BoardSource
from daq.wire import serial_port
from daq.wire.decoded import Decoded
from daq.wire.decoders import make_decoder
from daq.wire.serial_port import SerialPort

GAIN, ZERO = 2000.0, (12_000, -5_000)
DEADLINE_S = 20.0
SLACK = [0.0] * 400


def until(done):
    """Wait for a condition."""
    end = time.monotonic() + DEADLINE_S
    while not done():
        assert time.monotonic() < end
        time.sleep(0.002)


class ForceSource:
    """Forces, five samples a read, at the board's pace of 10 ms a sample; then what ``after`` says.

    ``alarms`` notes (reads so far, line raised) each time the line is set.
    """

    cells = 2

    def __init__(self, forces, after=None):
        self.blocks = iter([forces[i : i + 5] for i in range(0, len(forces), 5)])
        self.after, self.reads, self.index, self.alarms = after, 0, 0, []
        self.level, self.closed = 0.0, False

    def read(self):
        time.sleep(0.001)
        block = next(self.blocks, None)
        if block is None:
            if self.after is not None:
                raise self.after
            block = [self.level] * 5
        self.reads += 1
        return self._decoded(block), time.monotonic_ns()

    def _decoded(self, forces):
        self.level = forces[-1]
        samples = np.zeros(len(forces), dtype=sample_dtype(2))
        samples["index"] = np.arange(self.index, self.index + len(forces))
        samples["board_us"] = samples["index"] * 10_000
        samples["arrival_ns"] = time.monotonic_ns()
        wobble = np.where(samples["index"].astype(int) % 2, 5, -5)[:, None]
        each = np.array(forces)[:, None] / 4 * GAIN
        samples["counts"] = np.round(each + np.array(ZERO) + wobble)
        self.index += len(forces)
        return Decoded(samples, ())

    def finish(self):
        return Decoded(np.empty(0, dtype=sample_dtype(2)), ())

    def now_ns(self):
        return time.monotonic_ns()

    def set_alarm(self, *, raised):
        self.alarms.append((self.reads, raised))

    def close(self):
        self.closed = True


@pytest.fixture
def session(bench, tmp_path):
    """A factory of started sessions; all are closed."""
    made, rig = [], bench().rig
    rig = replace(rig, stop=replace(rig.stop, stale_after_s=5.0))  # a busy machine is not silent

    def start(*sources, **options):
        waiting = iter(sources)
        options = {"folder": tmp_path, "settings": SessionSettings(auto_zero=True)} | options
        one = Acquisition(rig, Calibration.from_rig(rig), lambda: next(waiting), **options)
        made.append(one)
        one.start()
        return one

    yield start
    for one in made:
        one._closing.set()
        for thread in one._threads:
            thread.join(DEADLINE_S)


def climb(top, samples=300):
    return np.linspace(0, top, samples).tolist()


@pytest.fixture
def stuck_disk(monkeypatch):
    """A recorder that hangs at the first samples, until the event is set."""
    free = threading.Event()
    handle = Recorder.handle

    def slow(self, message):
        if isinstance(message, Rows):
            free.wait(DEADLINE_S)
        handle(self, message)

    monkeypatch.setattr(Recorder, "handle", slow)
    yield free
    free.set()


def test_the_stop_waits_neither_for_the_disk_nor_for_a_screen(session, stuck_disk):
    """The disk hangs, nobody looks: the line falls before the next read is asked for."""
    forces = [*SLACK, *climb(5990), 5995.0, 6100.0, *[5000.0] * 100]
    source = ForceSource(forces)
    session(source)
    until(lambda: source.alarms)
    assert source.alarms[0] == (forces.index(6100.0) // 5 + 1, False)


def test_a_recorder_that_hangs_trips_and_that_is_in_the_file(session, stuck_disk):
    """Queue full: told, latched, and written down once the disk goes on; no sample is lost."""
    source = ForceSource([*SLACK, *climb(1000), *[1000.0] * 20_000])
    running = session(source)
    until(lambda: running.latest().trip is not None)
    trip = running.latest().trip
    assert trip.cause == "queue full"
    assert "the recorder is behind" in trip.message
    assert source.alarms[-1][1] is False
    stuck_disk.set()
    running.close()
    recording = read_recording(running.saved[0])
    trips = [event.text for event in recording.events if event.kind is EventKind.TRIP]
    assert trips == [f"queue full: {trip.message}"]
    assert set(np.diff(recording.samples["index"].astype(int)).tolist()) == {1}


def test_a_defect_in_the_reader_drops_the_line_keeps_the_file_and_is_handed_up(session):
    source = ForceSource([*SLACK, *climb(1000)], after=ZeroDivisionError("a defect"))
    running = session(source)
    until(lambda: source.closed)
    with pytest.raises(ZeroDivisionError):
        running.close()
    assert source.alarms[-1][1] is False
    assert "a defect" in running.ended_because
    assert len(read_recording(running.saved[0]).samples) > 300


def test_closing_drops_the_line_and_ends_the_pull(session):
    source = ForceSource([*SLACK, *climb(1000)])
    running = session(source)
    until(lambda: running.latest().maximum_n > 990)
    running.close()
    assert source.alarms[-1][1] is False
    assert read_recording(running.saved[0]).result["ended_because"] == "the session was closed"


def test_the_line_stays_down_after_a_replug_until_it_is_acknowledged(session):
    """Opening a port raises its lines; a latched stop lowers them again."""
    first = ForceSource([*SLACK, *climb(1000)], after=DeviceFault("the cable was pulled"))
    second = ForceSource([*SLACK])
    running = session(first, second, reconnect=True)
    until(lambda: second.reads > 50)
    assert second.alarms[0][1] is False
    until(lambda: running.latest().zeroed)
    running.acknowledge()
    until(lambda: running.latest().trip is None)
    assert second.alarms[-1][1] is True


def test_a_folder_that_cannot_be_written_is_told_before_the_port_is_opened(session, tmp_path):
    """Under load is too late."""
    (tmp_path / "file").touch()
    with pytest.raises(RecordingFault, match=r"Nothing can be recorded in .*file.*--out"):
        session(folder=tmp_path / "file" / "pulls")


def test_a_fault_of_the_folder_passes_when_it_is_mended(session, tmp_path, monkeypatch):
    """NOT RECORDING, with words; armed again once there is room; the stop stays latched."""
    monkeypatch.setattr("daq.record.recorder.LOOK_NS", 200_000_000)
    folder = tmp_path / "pulls"
    source = ForceSource(SLACK)
    running = session(source, folder=folder)
    until(lambda: running.latest().zeroed)
    folder.rename(tmp_path / "elsewhere")
    folder.touch()
    source.blocks = iter([climb(1000)[i : i + 5] for i in range(0, 300, 5)])
    until(lambda: running.latest().recording.state is Recording.FAULT)
    until(lambda: running.latest().trip is not None)
    assert running.latest().trip.cause == "recorder fault"
    folder.unlink()
    until(lambda: running.latest().recording.state is Recording.ARMED)
    assert running.latest().trip is not None


class FakeSerial:
    """What pyserial gives, with its two lines."""

    def __init__(self, *_, **__):
        self.rts = self.dtr = True
        self.timeout = 0.0
        self.data = b""
        self.in_waiting = 0

    def read(self, count):
        time.sleep(0.001)
        data, self.data = self.data[:count], self.data[count:]
        self.in_waiting = len(self.data)
        return data

    def close(self):
        self.rts = self.dtr = False  # what the system does, at the death of a process too


@pytest.mark.parametrize("line", ["rts", "dtr"])
def test_the_alarm_line_of_a_port_falls_on_the_first_count_over_the_stop(
    session, bench, monkeypatch, line
):
    """RTS or DTR as the rig file names it; the other one stays."""
    fake = FakeSerial()
    monkeypatch.setattr(serial_port.serial, "serial_for_url", lambda *_, **__: fake)
    rig = bench().rig
    port = SerialPort("fake", 115200, line)
    running = session(BoardSource(port, make_decoder(rig.link, rig.cells)))
    fake.data = b"cut\n" + b"".join(b"%d,%d,%d\n" % (i * 10_000, *ZERO) for i in range(1, 50))
    until(lambda: running.latest().samples > 40)
    assert fake.rts and fake.dtr
    fake.data = b"".join(b"%d,%d,%d\n" % (i * 10_000, 3_100_000, 3_100_000) for i in range(50, 52))
    until(lambda: running.latest().trip is not None)
    assert running.latest().trip.cause == "specimen force"
    assert getattr(fake, line) is False
    assert getattr(fake, "dtr" if line == "rts" else "rts") is True


def test_a_pull_can_be_judged_after_the_board_went_away(tmp_path, bench):
    """The cable falls out at slack: what is said of the pull still reaches its file."""
    up, down = np.linspace(0, 2000, 400).tolist(), np.linspace(300, 0, 40).tolist()
    source = ForceSource([*SLACK, *up, *down, *SLACK, *SLACK], DeviceFault("the cable is out"))
    rig = bench().rig
    session = Acquisition(
        rig,
        Calibration.from_rig(rig),
        lambda: source,
        folder=tmp_path,
        settings=SessionSettings(auto_zero=True),
    )
    session.start()
    until(lambda: session.ended_because is not None and session.saved)
    session.judge("withdrawal", "")
    with pytest.raises(DeviceFault):
        session.close()
    assert [c.change["mode"] for c in read_recording(session.saved[0]).history] == ["withdrawal"]
