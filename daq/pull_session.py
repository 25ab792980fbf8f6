"""What happens between two reads: guard, watch, zero, the start and end of each pull.

One object, used by one thread; it waits for nothing. It is told samples and a person's wishes, and
it tells a recorder (through ``offer``) and a screen (through `reading`).
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from daq.doubts import BoardName, Doubts
from daq.faults import Fault
from daq.force.calibration import Calibration
from daq.force.force_chain import ForceChain
from daq.force.zero import NotQuiet, Zero
from daq.line_tally import LineTally
from daq.live_chain import LiveChain, Step, guard_step, live_chain, start_state, watch_step
from daq.live_reading import Phase, TraceBlock, Trip
from daq.pull_summary import PullSummary, result_fields
from daq.recent_past import RecentPast
from daq.record.events import Event, EventKind
from daq.record.recorder import Begin, End, Later, Message, Note, Rows
from daq.rig.rig import Rig
from daq.run_header import run_header, zero_record
from daq.samples import Flag
from daq.session_settings import SessionSettings
from daq.specimen_list import Specimen, SpecimenList
from daq.wall_anchor import WallAnchor
from daq.watch.peak import Peak, settle
from daq.watch.pull_phase import Happening, PhaseState
from daq.watch.still_loaded import LoadState, watch_load
from daq.watch.stop_guard import acknowledge, fault_trip
from daq.wire.decoded import Decoded, WireEvent
from daq.wire.diagnosis import diagnose
from daq.wire_notes import together, wire_note
from daq.zero_keeper import ZeroKeeper

NOTICES = 8


@dataclass(slots=True)
class _Pull:
    """The pull that is on."""

    number: int
    began_s: float
    outcome: Phase = Phase.SLACK
    cracks: int = 0
    trip: Trip | None = None


class PullSession:
    """The state of a session at the rig, and the rules that move it on."""

    def __init__(
        self,
        rig: Rig,
        calibration: Calibration,
        offer: Callable[[Message], None],
        settings: SessionSettings | None = None,
        *,
        has_board_clock: bool,
        anchor: WallAnchor | None = None,
    ) -> None:
        settings = settings or SessionSettings()
        self.rig = rig
        self.calibration = calibration
        self.settings = settings
        self.specimens = SpecimenList(settings.specimen, settings.to_come)
        self.tally = LineTally()
        self.past = RecentPast(len(rig.cells))
        self.summaries: list[PullSummary] = []
        self.notices: list[str] = []
        self.samples = 0
        self.lost_because = ""
        self.weighing = False
        self.newest: Step | None = None
        self.pull: _Pull | None = None
        self._offer = offer
        self._has_board_clock = has_board_clock
        self.anchor = anchor or WallAnchor.now()
        self._zeros = ZeroKeeper(rig, calibration, settings.zero, by_itself=settings.auto_zero)
        self._load = LoadState()
        self._heard = False
        self.chain = self._chain(settings.zero)
        self.state = start_state(len(rig.cells), has_board_clock=has_board_clock)
        self.doubts = Doubts()
        self.board = BoardName(settings.board_before)

    # -- what the reader tells -----------------------------------------------------------------

    def guard(self, decoded: Decoded, now_ns: int) -> Trip | None:
        """Judge a block, before anything else; return the trip if this block made one."""
        tripped = self.state.guard.trip is not None
        if not self._heard and len(decoded.samples):
            self._heard = True
            if not self.zeroed:
                self._assume_zero(decoded.samples)
        self.state = guard_step(self.chain, self.state, decoded.samples, now_ns)
        trip = self.state.guard.trip
        return None if tripped else trip

    def take(self, decoded: Decoded, trip: Trip | None, now_ns: int) -> TraceBlock:
        """Watch and record what the guard has seen since the last call; return it for drawing.

        ``trip`` is the one that the guard made of it, if it made one.
        """
        self.samples += len(decoded.samples)
        self.tally.take(decoded.events)
        self.state, step = watch_step(self.chain, self.state, decoded.samples)
        self.past.add(step)
        if len(step.seconds):
            self.newest = step
        self._tell_doubts(decoded, step)
        self._record(decoded, step)
        if trip is not None:
            self._tripped(trip, now_ns)
        if self.weighing:
            self.state = replace(self.state, phase=PhaseState())
        else:
            for happening in step.happenings:
                self._happened(happening, now_ns)
        self._wire_changes(decoded.events)
        self._keep_zero(now_ns)
        if self.newest is not None:
            seconds = float(self.newest.seconds[-1])
            self._load = watch_load(self._load, self.force_n, seconds, self.safe_n)
        return TraceBlock(step.seconds, step.forces.at_specimen_n, self._drawn_flags(step))

    def fault(self, cause: str, message: str, now_ns: int) -> Trip | None:
        """Trip for something that is no sample; return the trip if it is new."""
        before = self.state.guard
        guard = fault_trip(before, cause, self._next_index, message)
        self.state = replace(self.state, guard=guard)
        if before.trip is not None or guard.trip is None:
            return None
        self._tripped(guard.trip, now_ns)
        return guard.trip

    def link_lost(self, reason: str, now_ns: int) -> None:
        """The board went away: end the pull as it stands; the zero must be taken again."""
        self.lost_because = reason
        self._note(EventKind.LINK_LOST, now_ns, reason)
        self.close(reason, now_ns)
        self.past.clear()  # it is not the last of anything any more
        self._zeros.forget()

    def link_back(self) -> None:
        """The board is there again: its clock and counts start anew."""
        self.lost_because = ""
        self.newest = None
        self.doubts = Doubts()
        self.board.opened()
        fresh = start_state(len(self.rig.cells), has_board_clock=self._has_board_clock)
        self.state = replace(fresh, guard=replace(self.state.guard, heard_ns=None))
        self.tell("The board is back. Take the zero again.")

    def close(self, reason: str, now_ns: int) -> None:
        """End the pull that is on, if one is, for ``reason``."""
        if self.pull is not None:
            self._end(reason, now_ns)

    # -- what a person wishes --------------------------------------------------------------------

    def zero(self, now_ns: int, *, by_person: bool = True) -> None:
        """Take the zero from the last ZERO_S seconds. Raises NotQuiet, the old zero stays."""
        if self.state.phase.in_pull:
            raise NotQuiet("No zero taken: a pull is on. Wind back to slack first.")
        if self.lost_because:
            raise NotQuiet(f"No zero taken: {self.lost_because}.")
        if self.state.still:
            raise NotQuiet(f"No zero taken: {self.doubts.now}.")
        zero = self._zeros.take(self.past, now_ns, self._next_index, by_person=by_person)
        self.chain = self._chain(zero)
        self.tell(f"Zero taken from {zero.samples} quiet samples.")

    def undo_zero(self) -> None:
        """Go back to the zero before the last one."""
        if self.pull is not None:
            raise Fault("The zero stays while a pull is on: its record was begun with it.")
        self._zeros.undo()
        self.chain = self._chain(self._zeros.now)
        self.tell("Back to the zero before.")

    def acknowledge(self, now_ns: int) -> None:
        """Release the latched stop, if the force is known and low. Raises Fault."""
        if self.state.guard.trip is None:
            return
        if self.lost_because:
            raise Fault(f"Not released, the force is unknown: {self.lost_because}.")
        guard = acknowledge(self.state.guard, self.force_n, self.safe_n)
        if guard.trip is not None:
            raise Fault(f"Not released: wind back below {self.safe_n:.0f} N first.")
        self.state = replace(self.state, guard=guard)
        self._note(EventKind.ACKNOWLEDGED, now_ns)

    def weigh(self, *, on: bool) -> None:
        """Begin or end a time of known weights, in which no pull begins; the guard goes on."""
        if on and self.pull is not None:
            raise Fault("No weights now: a pull is on. Wind back to slack first.")
        self.weighing = on

    def use_rig(self, rig: Rig) -> None:
        """Go on with changed limits of the same rig. Raises Fault while a pull is on."""
        if self.pull is not None:
            raise Fault("The rig stays as it is while a pull is on.")
        self.rig = rig
        self.chain = self._chain(self.chain.force.zero)

    def use_calibration(self, calibration: Calibration) -> None:
        """Go on with another calibration of the same cells. Raises Fault while a pull is on."""
        if self.pull is not None:
            raise Fault("The calibration stays as it is while a pull is on.")
        self.calibration = calibration
        self.past.clear()  # its forces were the old calibration's
        self._zeros.judge_by(self.rig, calibration)
        self.chain = self._chain(self.chain.force.zero)

    def mark(self, text: str, now_ns: int) -> None:
        """Mark this moment."""
        self._note(EventKind.MARK, now_ns, text, self.force_n)
        self.tell("Marked." if self.pull else "Marked, but no pull is on: not kept in a file.")

    def amend_last(self, change: Mapping[str, str], reason: str) -> None:
        """Add a person's word (mode, note, invalid ...) to the pull that is on or the last one."""
        if self.pull is None and not self.summaries:
            raise Fault("There is no pull yet.")
        self._offer(Later(dict(change), reason))

    def set_specimen(self, specimen: Specimen) -> None:
        """Say what is on the rig; a pull that is on keeps what it began with."""
        self.specimens = self.specimens.put_on(specimen)

    # -- what a screen asks ------------------------------------------------------------------------

    @property
    def link_words(self) -> str:
        """What is most likely wrong with the link, "" while most lines are good."""
        return diagnose(self.rig.link, self.samples, self.tally.bad_lines, self.tally.excerpts)

    @property
    def zeroed(self) -> bool:
        """Whether a zero was taken that still holds."""
        return self._zeros.now is not None

    @property
    def zero_taken(self) -> Zero | None:
        """The zero in force."""
        return self._zeros.now

    @property
    def force_n(self) -> float:
        """The newest force at the specimen, NaN before the first sample."""
        if self.newest is None:
            return float("nan")
        return float(self.newest.forces.at_specimen_n[-1])

    @property
    def saturated(self) -> bool:
        """Whether the newest sample stands at a converter's end."""
        return self.newest is not None and bool(
            self.newest.samples["flags"][-1] & int(Flag.SATURATED)
        )

    @property
    def safe_n(self) -> float:
        """The force below which hands may come near, once it stayed there a while."""
        return self.chain.rules.start_n

    @property
    def still_loaded(self) -> bool:
        """Whether a load may still be on: hands stay away."""
        return self._load.loaded

    @property
    def peak(self) -> Peak:
        """The maximum of this pull, or of the last one when slack."""
        if self.pull is None and self.summaries:
            return self.summaries[-1].peak
        return self.state.peak.peak if self.pull is not None else Peak()

    def tell(self, words: str) -> None:
        """Keep a sentence for the person at the rig, once in a row."""
        if self.notices[-1:] != [words]:
            self.notices = [*self.notices[1 - NOTICES :], words]

    # -- inside ----------------------------------------------------------------------------------

    @property
    def _next_index(self) -> int:
        return 0 if self.newest is None else int(self.newest.samples["index"][-1]) + 1

    def _chain(self, zero: Zero | None) -> LiveChain:
        zero = zero or Zero.none(len(self.rig.cells))
        force = ForceChain(self.calibration, zero, self.rig.lever)
        return live_chain(self.rig, force, force.noise_n)

    def _drawn_flags(self, step: Step) -> np.ndarray:
        """Return the marks a screen draws by: those kept, and what no weight has verified."""
        flags: np.ndarray = step.samples["flags"].copy()
        if self.calibration.verified:
            flags[step.forces.extrapolated] |= int(Flag.EXTRAPOLATED)
        return flags

    def _assume_zero(self, samples: np.ndarray) -> None:
        """Until a zero is taken the guard judges what was added since the first sample."""
        counts = tuple(map(float, samples["counts"][0]))
        self.chain = self._chain(replace(Zero.none(len(counts)), counts=counts))

    def _tell_doubts(self, decoded: Decoded, step: Step) -> None:
        for words in self.doubts.take(step, self.state.still, self.state.peak.peak.spikes):
            self.tell(words)
        if swapped := self.board.take(decoded.events):
            self.tell(swapped)

    def _record(self, decoded: Decoded, step: Step) -> None:
        if self.pull is None:
            return
        if len(step.samples):
            self._offer(Rows(step.samples))
        for event in together(decoded.events):
            self._offer(Note(wire_note(event)))

    def _happened(self, happening: Happening, now_ns: int) -> None:
        if happening.kind == "began":
            self._begin(happening, now_ns)
        elif happening.kind == "ended":
            self._end("slack", now_ns)
        elif self.pull is not None:
            self._during(happening, now_ns)

    def _begin(self, happening: Happening, now_ns: int) -> None:
        self.pull = _Pull(len(self.summaries) + 1, happening.seconds)
        self._load = LoadState(loaded=True)
        self.specimens = self.specimens.began()
        header = run_header(
            self.rig,
            self.calibration,
            self.anchor,
            started_ns=now_ns,
            pull_number=self.pull.number,
            zero_before=self.zero_taken,
            specimen=self.specimens.on_rig,
            session=self.settings.notes,
            board=self.board.name,
            has_board_clock=self._has_board_clock,
        )
        self._offer(Begin(header, self.chain.force, tuple(self.past.samples())))

    def _during(self, happening: Happening, now_ns: int) -> None:
        assert self.pull is not None
        if happening.kind == "crack":
            self.pull.cracks += 1
            self._note(EventKind.CRACK, now_ns, value=happening.force_n)
            return
        outcomes = {"parted": Phase.PARTED, "eased": Phase.EASED, "reopened": Phase.SLACK}
        self.pull.outcome = outcomes[happening.kind]
        self._note(EventKind.PHASE, now_ns, happening.kind, happening.force_n)

    def _end(self, reason: str, now_ns: int) -> None:
        assert self.pull is not None
        pull, self.pull = self.pull, None
        peak = settle(self.state.peak)
        summary = PullSummary(
            pull.number, pull.outcome, peak, peak.seconds - pull.began_s, pull.trip, reason
        )
        self.summaries.append(summary)
        zero_after = self._zeros.look(self.past, now_ns, self._next_index)
        self._offer(
            End(result_fields(summary, pull.cracks), zero_record(zero_after, self.anchor), reason)
        )
        self._zeros.want()
        self.specimens = self.specimens.ended()

    def _tripped(self, trip: Trip, now_ns: int) -> None:
        if self.pull is not None and self.pull.trip is None:
            self.pull.trip = trip
        self._note(EventKind.TRIP, now_ns, f"{trip.cause}: {trip.message}", trip.force_n)

    def _note(
        self, kind: EventKind, now_ns: int, text: str = "", value: float = float("nan")
    ) -> None:
        if self.pull is not None:
            self._offer(Note(Event(kind, self._next_index, now_ns, text, value)))

    def _wire_changes(self, events: tuple[WireEvent, ...]) -> None:
        for event in events:
            if event.kind == "restart" and self.zeroed:
                self._zeros.forget()
                self.tell("The board restarted. Take the zero again.")

    def _keep_zero(self, now_ns: int) -> None:
        """Take the zero by itself where that was asked for, once the hook is slack and quiet."""
        if self.newest is None or self.state.phase.in_pull or self.weighing:
            return
        if self._zeros.due(self.past, float(self.newest.seconds[-1])):
            with suppress(NotQuiet):
                self.zero(now_ns, by_person=False)
