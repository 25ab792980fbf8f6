"""The zeros of a session: taken from the recent past, kept, undone, forgotten after a restart."""

from daq.faults import Fault
from daq.force.calibration import Calibration
from daq.force.force_chain import ForceChain
from daq.force.zero import LooksLoaded, NotQuiet, Zero, take_zero
from daq.recent_past import RecentPast
from daq.rig.rig import Rig

ZERO_S = 2.0
TRY_EVERY_S = 0.5
AGAIN_S = 10.0
NEVER_NS = -(1 << 62)


class ZeroKeeper:
    """The zero in force and the ones before it. ``by_itself``: taken whenever slack and quiet."""

    def __init__(
        self, rig: Rig, calibration: Calibration, known: Zero | None, *, by_itself: bool
    ) -> None:
        self.judge_by(rig, calibration)
        self._zeros: list[Zero] = [] if known is None else [known]
        self._before: Zero | None = None  # the last one that was forgotten
        self._refused_ns = NEVER_NS
        self._by_itself = by_itself
        self._wanted = by_itself
        self._tried_s = float("-inf")

    def judge_by(self, rig: Rig, calibration: Calibration) -> None:
        """Judge from now on by what these cells give at capacity."""
        chain = ForceChain(calibration, Zero.none(len(rig.cells)), rig.lever)
        self._capacity = chain.capacity_counts(tuple(cell.capacity_n for cell in rig.cells))

    @property
    def now(self) -> Zero | None:
        """The zero in force."""
        return self._zeros[-1] if self._zeros else None

    def take(self, past: RecentPast, now_ns: int, index: int, *, by_person: bool) -> Zero:
        """Take the zero from the last ZERO_S seconds. Raises NotQuiet; the old zero stays.

        What looks like a load beside the last zero, even one that holds no more, is refused; a
        person who then asks again within AGAIN_S has said that it is none.
        """
        again = by_person and now_ns - self._refused_ns < AGAIN_S * 1e9
        try:
            zero = take_zero(
                *past.counts(ZERO_S),
                last=self.now or self._before,
                capacity_counts=self._capacity,
                forced=again,
                taken_ns=now_ns,
                index=index,
            )
        except LooksLoaded as fault:
            if not by_person:
                raise
            self._refused_ns = now_ns
            raise LooksLoaded(
                f"{fault} If the hook IS slack and nothing touches the rig, z once more within "
                f"{AGAIN_S:.0f} s takes it."
            ) from None
        self._refused_ns = NEVER_NS
        self._zeros.append(zero)
        self._wanted = False
        return zero

    def due(self, past: RecentPast, seconds: float) -> bool:
        """Whether a zero is wanted by itself and may be tried now."""
        if not self._wanted or seconds - self._tried_s < TRY_EVERY_S or not past.covers(ZERO_S):
            return False
        self._tried_s = seconds
        return True

    def want(self) -> None:
        """Ask for a fresh zero before the next pull, where zeros are taken by themselves."""
        self._wanted = self._by_itself

    def undo(self) -> None:
        """Go back to the zero before the last one. Raises Fault."""
        if len(self._zeros) < 2:
            raise Fault("There is no zero before this one.")
        self._zeros.pop()

    def forget(self) -> None:
        """No zero holds any more: the board started anew."""
        self._before = self.now or self._before
        self._zeros.clear()
        self._tried_s = float("-inf")
        self.want()

    def look(self, past: RecentPast, now_ns: int, index: int) -> Zero | None:
        """Return what the zero would be now, None when not quiet; changes nothing."""
        try:
            return take_zero(*past.counts(ZERO_S), taken_ns=now_ns, index=index)
        except NotQuiet:
            return None
