"""Whether a load may still be on, so that hands stay away."""

from dataclasses import dataclass

SAFE_S = 3.0


@dataclass(frozen=True, slots=True)
class LoadState:
    """A load was put on and has not been below the safe force for SAFE_S yet."""

    loaded: bool = False
    below_since_s: float | None = None


def watch_load(state: LoadState, force_n: float, seconds: float, safe_n: float) -> LoadState:
    """Fold one force at the specimen, at ``seconds`` of the board's time, into the state.

    A force that is not known (NaN) is not below anything.
    """
    if not state.loaded:
        return state
    if not abs(force_n) < safe_n:
        return LoadState(loaded=True)
    since_s = seconds if state.below_since_s is None else state.below_since_s
    return LoadState() if seconds - since_s >= SAFE_S else LoadState(True, since_s)
