"""The only threads: a reader (read, guard, watch, offer, publish), a recorder, one for the disk.

The reader never waits for the disk or the screen. A screen looks at `latest` as often as it
likes; what it asks for (zero, mark, acknowledge ...) is done by the reader between two blocks, so
that only one thread ever touches the state of the session.
"""

import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from queue import Empty, SimpleQueue

import numpy as np

from daq.faults import DeviceFault, Fault
from daq.force.calibration import Calibration
from daq.live_reading import LiveReading, Recording, RecordingState, TraceBlock, Trip
from daq.live_view import live_reading
from daq.pull_session import PullSession
from daq.pull_summary import PullSummary
from daq.record.recorder import Later, Message, Recorder
from daq.rig.rig import Rig
from daq.samples import CountArray, FloatArray
from daq.session_settings import SessionSettings
from daq.sources import EndOfSource, Source
from daq.specimen_list import Specimen
from daq.wire.decoded import Decoded

#: Messages that may wait for the recorder (some 4 s at 93 samples a second) before the guard trips.
QUEUE_MESSAGES = 400
TRACE_BLOCKS = 4000
#: The guard sees every read at once; what follows it gathers so long, so that wake-ups stay cheap.
WATCH_NS = 10_000_000
PUBLISH_NS = 30_000_000  # a screen looks half as often; a trip is published at once
JOIN_S = 5.0
RECONNECT_NS = 1_000_000_000
WISH_S = 0.1  # how often wishes are looked at while there is no board to read
RECORDER_POLL_S = 0.05
SYNC_S = 1.0
LOOK_BACK_S = 10.0
SWITCH_S = 0.0005  # so long a console at work may keep the reader waiting; Python says 5 ms


class Acquisition:
    """A session at the rig, running. Made with `start`, ended with `close`."""

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration,
        open_source: Callable[[], Source],
        *,
        folder: Path | None,
        settings: SessionSettings | None = None,
        reconnect: bool = False,
        has_board_clock: bool = True,
        after_saved: Callable[[Specimen], None] | None = None,
    ) -> None:
        """``after_saved`` is told, by the recorder, the specimen of each pull that is on disk."""
        self._recorder = None if folder is None else Recorder(folder, after_saved)
        self._open_source = open_source
        self._source = open_source()
        self._reconnect = reconnect
        self._queue: SimpleQueue[Message] = SimpleQueue()
        self._wishes: SimpleQueue[Callable[[], None]] = SimpleQueue()
        self._seen: list[Decoded] = []  # by the guard, not watched yet
        self._watched_ns = 0
        self._trace: deque[TraceBlock] = deque(maxlen=TRACE_BLOCKS)
        self._closing = threading.Event()
        self._offering_ended = threading.Event()
        self._faults: list[BaseException] = []
        self._ended_because: str | None = None
        self._recent_counts: tuple[CountArray, FloatArray] = (
            np.empty((0, len(rig.cells)), np.int32),
            np.empty(0),
        )
        self._session = PullSession(
            rig, calibration, self._offer, settings, has_board_clock=has_board_clock
        )
        self._latest = live_reading(self._session, self._recording, self._source.now_ns())
        self._threads = [
            threading.Thread(target=self._guarded(self._read_loop), name="reader"),
            threading.Thread(target=self._guarded(self._record_loop), name="recorder"),
        ]
        # A daemon, and no fault if it lasts: the recorder itself puts an ended file on the disk.
        self._disk = threading.Thread(
            target=self._guarded(self._sync_loop), name="disk", daemon=True
        )

    def start(self) -> None:
        """Start the threads."""
        sys.setswitchinterval(SWITCH_S)
        for thread in (*self._threads, self._disk):
            thread.start()

    def close(self) -> None:
        """End the pull that is on, finish the file, let the port go; raise what a thread raised."""
        self._closing.set()
        for thread in (*self._threads, self._disk):
            thread.join(JOIN_S)
        alive = [thread.name for thread in self._threads if thread.is_alive()]
        if self._faults:
            raise self._faults[0]
        if alive:
            raise Fault(f"The {' and the '.join(alive)} did not end within {JOIN_S:.0f} s.")

    # -- what a screen or a command looks at ---------------------------------------------------

    def latest(self) -> LiveReading:
        """Return the newest reading."""
        return self._latest

    def take_trace(self) -> TraceBlock:
        """Return the samples since the last call, at most the last TRACE_BLOCKS blocks."""
        blocks = []
        while self._trace:
            blocks.append(self._trace.popleft())
        if not blocks:
            return TraceBlock(np.empty(0), np.empty(0), np.empty(0, np.uint16))
        return TraceBlock(
            np.concatenate([block.seconds for block in blocks]),
            np.concatenate([block.force_n for block in blocks]),
            np.concatenate([block.flags for block in blocks]),
        )

    @property
    def ended_because(self) -> str | None:
        """Why the reader stopped by itself; None while it runs."""
        return self._ended_because

    @property
    def fault(self) -> BaseException | None:
        """What ended a thread, if something did."""
        return self._faults[0] if self._faults else None

    @property
    def summaries(self) -> Sequence[PullSummary]:
        """The pulls that ended so far."""
        return tuple(self._session.summaries)

    @property
    def saved(self) -> tuple[Path, ...]:
        """The files written so far."""
        return () if self._recorder is None else self._recorder.saved

    @property
    def rig(self) -> Rig:
        """The rig, with its limits as they are now."""
        return self._session.rig

    def recent_counts(self) -> tuple[CountArray, FloatArray]:
        """Return counts (n, cells) and seconds (n,) of the last seconds, and ask for newer ones."""
        self._wish(self._look_back)
        return self._recent_counts

    def _look_back(self) -> None:
        self._recent_counts = self._session.past.counts(LOOK_BACK_S)

    # -- what a person asks for: done by the reader between two blocks -------------------------

    def zero(self) -> None:
        """Take a new zero, if the rig is slack and quiet."""
        self._wish(lambda: self._session.zero(self._source.now_ns()))

    def undo_zero(self) -> None:
        """Go back to the zero before."""
        self._wish(self._session.undo_zero)

    def acknowledge(self) -> None:
        """Release the latched stop, if the force is low."""

        def release() -> None:
            self._session.acknowledge(self._source.now_ns())
            if self._session.state.guard.trip is None:
                self._source.set_alarm(raised=True)

        self._wish(release)

    def weigh(self, *, on: bool) -> None:
        """Begin or end a time of known weights: no pull begins, the guard goes on."""
        self._wish(lambda: self._session.weigh(on=on))

    def use_rig(self, rig: Rig) -> None:
        """Go on with changed limits of the same rig, once slack."""
        self._wish(lambda: self._session.use_rig(rig))

    def use_calibration(self, calibration: Calibration) -> None:
        """Go on with another calibration of the same cells, once slack."""
        self._wish(lambda: self._session.use_calibration(calibration))

    def mark(self, text: str) -> None:
        """Mark this moment."""
        self._wish(lambda: self._session.mark(text, self._source.now_ns()))

    def discard(self, reason: str) -> None:
        """Call the last pull invalid; an empty reason takes that back. Nothing is deleted."""
        self._wish(lambda: self._session.amend_last({"invalid": reason}, reason or "taken back"))

    def judge(self, mode: str, note: str) -> None:
        """Say how the last pull failed; an empty mode takes that back."""
        change = {"mode": mode} | ({"note": note} if note else {})
        self._wish(lambda: self._session.amend_last(change, "judged at the rig"))

    def keep_word(self, change: Mapping[str, str], reason: str, file: Path | None = None) -> None:
        """Add a person's word to the last pull, or to the recording named. Nothing is replaced."""
        if self._recorder is None:
            raise Fault("Nothing is kept here: this is a replay, or a session without a folder.")
        if file is None:
            self._wish(lambda: self._session.amend_last(change, reason))
        else:
            self._offer(Later(dict(change), reason, file))

    def set_specimen(self, specimen: Mapping[str, str | float]) -> None:
        """Say what is on the rig now."""
        self._wish(lambda: self._session.set_specimen(specimen))

    # -- the reader ----------------------------------------------------------------------------

    def _read_loop(self) -> None:
        try:
            while not self._closing.is_set() and self._ended_because is None:
                self._fulfil_wishes()
                self._read_once()
            self._take(self._source.finish(), self._source.now_ns())
            self._watch(None, self._source.now_ns())
            self._session.close(
                self._ended_because or "the session was closed", self._source.now_ns()
            )
            self._source.set_alarm(raised=False)
            self._publish()
            while not self._closing.wait(WISH_S):  # the last pull may still be judged
                self._fulfil_wishes()
            self._fulfil_wishes()
        finally:
            self._source.set_alarm(raised=False)
            self._source.close()
            self._publish()
            self._offering_ended.set()

    def _read_once(self) -> None:
        try:
            decoded, now_ns = self._source.read()
        except EndOfSource:
            self._ended_because = "the replay came to its end"
        except DeviceFault as fault:
            self._lost(fault)
        else:
            self._take(decoded, now_ns)
            self._watch_recorder(now_ns)
            if now_ns - self._latest.host_ns >= PUBLISH_NS or self._tripped:
                self._publish(now_ns)

    def _take(self, decoded: Decoded, now_ns: int) -> None:
        trip = self._session.guard(decoded, now_ns)
        if trip is not None:
            self._source.set_alarm(raised=False)
        self._seen.append(decoded)
        if trip is not None or now_ns - self._watched_ns >= WATCH_NS:
            self._watch(trip, now_ns)

    def _watch(self, trip: Trip | None, now_ns: int) -> None:
        """Hand on what the guard has seen."""
        seen, self._seen, self._watched_ns = joined(self._seen), [], now_ns
        if seen is None:
            return
        block = self._session.take(seen, trip, now_ns)
        if len(block.seconds):
            self._trace.append(block)

    def _watch_recorder(self, now_ns: int) -> None:
        trip: Trip | None = None
        if self._queue.qsize() > QUEUE_MESSAGES:
            waiting = self._queue.qsize()
            trip = self._session.fault(
                "queue full", f"the recorder is behind: {waiting} blocks wait", now_ns
            )
        if self._recording.state is Recording.FAULT:
            trip = self._session.fault("recorder fault", self._recording.message, now_ns) or trip
        if trip is not None:
            self._source.set_alarm(raised=False)

    def _lost(self, fault: DeviceFault) -> None:
        """The board went away: say so, end the pull, wait for the board where that is wanted."""
        now_ns = self._source.now_ns()
        self._take(self._source.finish(), now_ns)
        self._watch(None, now_ns)
        self._session.link_lost(str(fault), now_ns)
        self._look_back()  # there are no counts of now
        self._session.fault("silence", str(fault), now_ns)
        self._publish(now_ns)
        if not self._reconnect:
            self._ended_because = str(fault)
            self._faults.append(fault)
            return
        self._source.close()
        due_ns = self._source.now_ns() + RECONNECT_NS
        while not self._closing.wait(WISH_S):
            self._fulfil_wishes()
            if self._source.now_ns() < due_ns:
                continue
            due_ns += RECONNECT_NS
            try:
                self._source = self._open_source()
            except DeviceFault:
                self._publish()
                continue
            self._session.link_back()
            if self._session.state.guard.trip is not None:
                self._source.set_alarm(raised=False)  # opening a port raises it
            return

    def _fulfil_wishes(self) -> None:
        while not self._wishes.empty():
            self._watch(None, self._source.now_ns())
            wish = self._wishes.get_nowait()
            try:
                wish()
            except Fault as fault:
                self._session.tell(str(fault))

    def _wish(self, wish: Callable[[], None]) -> None:
        self._wishes.put(wish)

    def _publish(self, now_ns: int | None = None) -> None:
        self._latest = live_reading(self._session, self._recording, now_ns or self._source.now_ns())

    @property
    def _tripped(self) -> bool:
        """Whether the guard tripped since the last reading."""
        return self._session.state.guard.trip is not self._latest.trip

    @property
    def _recording(self) -> RecordingState:
        return RecordingState() if self._recorder is None else self._recorder.state

    # -- the recorder --------------------------------------------------------------------------

    def _offer(self, message: Message) -> None:
        if self._recorder is not None:
            self._queue.put(message)

    def _record_loop(self) -> None:
        if self._recorder is None:
            return
        self._recorder.prepare()
        while True:
            try:
                self._recorder.handle(self._queue.get(timeout=RECORDER_POLL_S))
            except Empty:
                if self._offering_ended.is_set() and self._queue.empty():
                    break
            self._recorder.tick(time.monotonic_ns())
        self._recorder.close()

    def _sync_loop(self) -> None:
        """Put what is recorded on the disk, beside the recorder: a busy disk takes seconds."""
        while self._recorder is not None and not self._closing.wait(SYNC_S):
            self._recorder.sync()

    def _guarded(self, loop: Callable[[], None]) -> Callable[[], None]:
        """Hand a thread's exception up instead of losing it; the other thread ends too."""

        def run() -> None:
            try:
                loop()
            except BaseException as error:
                self._faults.append(error)
                self._ended_because = self._ended_because or f"{type(error).__name__}: {error}"
                self._offering_ended.set()
                self._closing.set()

        return run


def joined(parts: Sequence[Decoded]) -> Decoded | None:
    """Return parts in order as one; None for nothing."""
    if len(parts) < 2:
        return parts[0] if parts else None
    events = tuple(event for part in parts for event in part.events)
    return Decoded(np.concatenate([part.samples for part in parts]), events)
