"""The lever's ratio by one bucket at two places, beside the tape measure: no true mass needed."""

from dataclasses import dataclass

from daq.rig.rig import Lever

#: More than this apart, and something is not where the rig file says it is.
APART = 0.01


@dataclass(frozen=True, slots=True)
class RatioCheck:
    """The same weight read in line with the jack and at the specimen pin; its error cancels.

    Readings are net, in newtons or counts. With the fulcrum between, the weight at the specimen
    must pull the working way (over a pulley, whose friction then counts).
    """

    in_line_with_jack: float
    at_specimen_pin: float
    tape_ratio: float
    acknowledged: str = ""  # why a person goes on all the same

    @property
    def ratio(self) -> float:
        """The ratio that the bucket gives."""
        return self.in_line_with_jack / self.at_specimen_pin

    @property
    def apart_rel(self) -> float:
        """How far the bucket's ratio lies from the tape measure's."""
        return self.ratio / self.tape_ratio - 1.0

    @property
    def blocks(self) -> bool:
        """Whether pulling waits until a person has found out why, or says why not."""
        return abs(self.apart_rel) > APART and not self.acknowledged

    @property
    def words(self) -> str:
        """The outcome, and what to do about it."""
        found = (
            f"ratio by the bucket {self.ratio:.3f}, by the tape measure {self.tape_ratio:.3f}: "
            f"{100.0 * self.apart_rel:+.1f} %"
        )
        if abs(self.apart_rel) <= APART:
            return f"{found}, they agree"
        if self.acknowledged:
            return f"{found}, accepted: {self.acknowledged}"
        return (
            f"{found}. More than 1 % apart: measure the arms from pin to pin again, look for a "
            "wide contact, a leaning link or a stiff pin, and a bucket that touched. Correct the "
            "rig file, or acknowledge with a reason"
        )


def check_ratio(in_line_with_jack: float, at_specimen_pin: float, lever: Lever) -> RatioCheck:
    """Return the check of a lever. Raises ValueError where a reading is not above zero."""
    if in_line_with_jack <= 0.0 or at_specimen_pin <= 0.0:
        raise ValueError(
            "both readings must be above zero: take the zero first, then hang the bucket"
        )
    return RatioCheck(in_line_with_jack, at_specimen_pin, lever.ratio)
