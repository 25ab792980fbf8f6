"""A recording as time and force, by the same functions as live: what landmarks are found in."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.bad_readings import excursions, stuck
from analysis.recorded_chain import chain_of
from daq.force.force_chain import ForceChain, Forces
from daq.live_reading import Phase
from daq.record.reader import Recording
from daq.samples import Flag, FloatArray
from daq.watch.peak import Peak, hold, lone_spikes, no_peak, settle, spike_threshold_n
from daq.watch.pull_phase import Happening, PhaseState, follow, phase_rules
from daq.watch.ticks import gather, no_ticks
from daq.wire.sample_clock import fit_clock, seconds

NAN = float("nan")
BEFORE_S = 1.0  # of slack, looked at with a pull
EXCURSION_THRESHOLDS = 4.0  # times the threshold of a lone spike


@dataclass(frozen=True, slots=True, eq=False)
class PullCurve:
    """A recording as time and force. Arrays of shape (n,); ``flags`` with what was found since."""

    seconds: FloatArray
    forces: Forces
    chain: ForceChain
    noise_n: float
    peak: Peak
    happenings: tuple[Happening, ...]  # of this pull
    outcome: Phase
    flags: npt.NDArray[np.uint16]
    first: int  # sample at which the pull began; 0 where none did
    top: int  # sample of the maximum; -1 without one

    @property
    def began_s(self) -> float:
        """When the pull began, NaN where none did."""
        return next((h.seconds for h in self.happenings if h.kind == "began"), NAN)

    @property
    def crack_marks(self) -> tuple[Happening, ...]:
        """Sudden falls that were followed by a new maximum."""
        return tuple(h for h in self.happenings if h.kind == "crack")


def pull_curve(recording: Recording) -> PullCurve:
    """Return time, force, peak and phases of a recording with at least one sample.

    A recording starts with the seconds before its pull, in which the end of another may stand: the
    pull is the one that had begun when the recording was started.
    """
    header, samples = recording.header, recording.samples
    chain = chain_of(recording)
    forces = chain.forces(samples["counts"])
    time_s = seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    noise_n = chain.noise_n
    _, ticks = gather(no_ticks(), time_s, forces.at_specimen_n)
    _, told = follow(PhaseState(), phase_rules(header.stop_n, noise_n), ticks)
    happenings = _of_this_pull(told, _started_s(recording, time_s))
    first = _first_sample(happenings, time_s)
    spike_n = spike_threshold_n(header.stop_n, noise_n)
    flags = _flags(samples, forces, chain, time_s, spike_n)
    part = slice(first, None)
    peak = _peak(samples[part], flags[part], time_s[part], forces.at_specimen_n[part], spike_n)
    at = np.flatnonzero(samples["index"] == peak.index)
    return PullCurve(
        seconds=time_s,
        forces=forces,
        chain=chain,
        noise_n=noise_n,
        peak=peak,
        happenings=happenings,
        outcome=_outcome(happenings),
        flags=flags,
        first=first,
        top=int(at[0]) if len(at) else -1,
    )


def _started_s(recording: Recording, time_s: FloatArray) -> float:
    started = int(np.searchsorted(recording.samples["arrival_ns"], recording.header.started_ns))
    return float(time_s[min(started, len(time_s) - 1)])


def _of_this_pull(told: list[Happening], started_s: float) -> tuple[Happening, ...]:
    begins = [place for place, happening in enumerate(told) if happening.kind == "began"]
    if not begins:
        return ()
    before = [place for place in begins if told[place].seconds <= started_s]
    first = before[-1] if before else begins[0]
    last = next((p for p in begins if p > first), len(told))
    return tuple(told[first:last])


def _first_sample(happenings: tuple[Happening, ...], time_s: FloatArray) -> int:
    if not happenings:
        return 0
    return int(np.searchsorted(time_s, happenings[0].seconds - BEFORE_S))


def _flags(
    samples: np.ndarray, forces: Forces, chain: ForceChain, time_s: FloatArray, spike_n: float
) -> npt.NDArray[np.uint16]:
    flags: npt.NDArray[np.uint16] = samples["flags"].astype(np.uint16)
    jumped = excursions(forces.at_specimen_n, EXCURSION_THRESHOLDS * spike_n)
    flags[jumped] |= int(Flag.SUSPECT)
    flags[lone_spikes(forces.at_specimen_n, spike_n)] |= int(Flag.SPIKE)
    flags[stuck(samples["counts"], time_s, chain.zero.sd)] |= int(Flag.STUCK)
    return flags


def _peak(
    samples: np.ndarray,
    flags: npt.NDArray[np.uint16],
    time_s: FloatArray,
    force_n: FloatArray,
    spike_n: float,
) -> Peak:
    if not np.array_equal(samples["flags"], flags):
        samples = samples.copy()
        samples["flags"] = flags
    return settle(hold(no_peak(), force_n, time_s, samples, spike_n))


def _outcome(happenings: tuple[Happening, ...]) -> Phase:
    outcome = Phase.SLACK
    for happening in happenings:
        if happening.kind in ("parted", "eased"):
            outcome = Phase(happening.kind)
        elif happening.kind == "reopened":
            outcome = Phase.SLACK
    return outcome
