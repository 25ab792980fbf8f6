"""A failure mode proposed from the course of the force, with the evidence. A person has the word.

Force alone cannot see the wood: thread strip-out, fibre plug, an insert turning out and a sliding
nail all look like a withdrawal. The numbers are common practice, no source; they were tuned on
simulated pulls.
"""

import math
from dataclasses import dataclass

import numpy as np

from analysis.landmarks import Landmarks
from daq.live_reading import Phase

SUDDEN_S = 0.5  # a fall as quick as this is no cranking
NOTHING_LEFT = 0.06  # of the maximum
PLATEAU = 0.37
SLIP_PART = 0.05  # of the maximum: a smaller fall is a crack, not a grip that slips ...
SLIP_USUAL = 0.075  # ... and the usual one is larger still
SLIPS = 2


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mode of `analysis.pull_result.MODES` ("" for none), and what speaks for it."""

    mode: str
    evidence: tuple[str, ...]

    @property
    def grip_slipped(self) -> bool:
        """Whether the grip, not the specimen, seems to have given way."""
        return self.mode == "grip slipped"


NO_PROPOSAL = Proposal("", ())


def propose_mode(marks: Landmarks, outcome: Phase, maximum_n: float) -> Proposal:
    """Return the mode that the landmarks speak for; none for a pull that did not end."""
    if outcome is Phase.EASED:
        return Proposal("stopped whole", ("wound back without a failure",))
    fall = marks.fall
    if outcome is not Phase.PARTED or not math.isfinite(fall.drop_n):
        return NO_PROPOSAL
    left = fall.residual_n / maximum_n
    seen = (f"{_percent(1 - left)} lost in {_seconds(fall.drop_s)}", f"{_percent(left)} left after")
    drops = np.array(marks.crack_drops_n) / maximum_n
    slips = drops[drops >= SLIP_PART]
    sudden = fall.drop_s < SUDDEN_S
    if left < NOTHING_LEFT and sudden:
        return _at_once(seen, len(drops))
    if len(slips) >= SLIPS and float(np.median(drops)) >= SLIP_USUAL:
        usual = _percent(float(np.median(slips)))
        return Proposal(
            "grip slipped", (f"{len(slips)} falls of about {usual} that held again", *seen)
        )
    if sudden and left > PLATEAU:
        return Proposal("head pull-through", (*seen, "a plateau after a sudden fall"))
    return Proposal("withdrawal", seen)


def _at_once(seen: tuple[str, ...], cracks: int) -> Proposal:
    if cracks:
        return Proposal("splitting", (*seen, f"{cracks} cracks before"))
    return Proposal("fastener fracture", (*seen, "no crack before"))


def _percent(part: float) -> str:
    return f"{100.0 * part:.0f} %"


def _seconds(seconds: float) -> str:
    return f"{seconds:.2f} s" if math.isfinite(seconds) else "a time not seen"
