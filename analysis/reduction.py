"""From a recording to a result, through the same functions as live."""

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.pull_result import Kind, PullResult
from analysis.recorded_chain import chain_of
from daq.force.force_chain import ForceChain, Forces
from daq.live_reading import Phase
from daq.record.header import RunHeader
from daq.record.reader import Recording
from daq.samples import NOT_A_MAXIMUM, Flag, FloatArray
from daq.watch.peak import Peak, hold, lone_spikes, no_peak, settle, spike_threshold_n
from daq.watch.pull_phase import Happening, PhaseState, follow, phase_rules
from daq.watch.ticks import gather, no_ticks
from daq.wire.sample_clock import fit_clock, seconds

NAN = float("nan")
GAP_NEAR_MAXIMUM_S = 2.0
RAW_OVER_MEDIAN = 0.01
ZERO_DRIFT = 0.005


@dataclass(frozen=True, slots=True, eq=False)
class PullCurve:
    """A recording as time and force: what every landmark is found in. Arrays of shape (n,)."""

    seconds: FloatArray
    forces: Forces
    chain: ForceChain
    noise_n: float
    peak: Peak
    happenings: tuple[Happening, ...]
    outcome: Phase


def pull_curve(recording: Recording) -> PullCurve:
    """Return time, force, peak and phases of a recording."""
    header, samples = recording.header, recording.samples
    chain = chain_of(recording)
    forces = chain.forces(samples["counts"])
    time_s = seconds(samples, fit_clock(samples, has_clock=header.has_board_clock))
    noise_n = _noise_n(chain)
    _, ticks = gather(no_ticks(), time_s, forces.at_specimen_n)
    _, happenings = follow(PhaseState(), phase_rules(header.stop_n, noise_n), ticks)
    threshold_n = spike_threshold_n(header.stop_n, noise_n)
    peak = settle(hold(no_peak(), forces.at_specimen_n, time_s, samples, threshold_n))
    return PullCurve(time_s, forces, chain, noise_n, peak, tuple(happenings), _outcome(happenings))


def reduce_recording(recording: Recording, file: Path) -> PullResult:
    """Return the result of one recording. A recording without samples gives NaN and a flag."""
    header = recording.header
    if not len(recording.samples):
        return _empty(recording, file)
    curve = pull_curve(recording)
    began_s = next((h.seconds for h in curve.happenings if h.kind == "began"), NAN)
    words = _person(recording)
    kind = _kind(curve, recording, words)
    return PullResult(
        file=file,
        specimen=header.specimen,
        kind=kind,
        mode=words.get("mode", "stopped whole" if kind is Kind.AT_LEAST else ""),
        max_force_n=curve.peak.force_n,
        u_max_force_n=NAN,
        U95_max_force_n=NAN,
        time_to_max_s=curve.peak.seconds - began_s,
        yield_force_n=NAN,
        cracks=sum(h.kind == "crack" for h in curve.happenings),
        f_per_mm_n=_per_mm(curve.peak.force_n, header),
        flags=tuple(_flags(curve, recording)),
        reason=words.get("invalid", ""),
        chain=_chain_words(curve, recording),
        extra={
            "median3_max_force_n": curve.peak.median3_n,
            "spikes": curve.peak.spikes,
            "samples": len(recording.samples),
        },
    )


def _noise_n(chain: ForceChain) -> float:
    noise = np.array([chain.zero.counts]) + np.array([chain.zero.sd])
    return float(np.linalg.norm(chain.forces(noise).cells_n)) * chain.lever.ratio


def _outcome(happenings: list[Happening]) -> Phase:
    outcome = Phase.SLACK
    for happening in happenings:
        if happening.kind in ("parted", "eased"):
            outcome = Phase(happening.kind)
        elif happening.kind == "reopened":
            outcome = Phase.SLACK
    return outcome


def _person(recording: Recording) -> dict[str, str]:
    """Return a person's words on the pull: the newest of each, taken-back ones left out."""
    words: dict[str, str] = {}
    for change in recording.history:
        words.update({str(key): str(value) for key, value in change.change.items()})
    return {key: value for key, value in words.items() if value}


def _kind(curve: PullCurve, recording: Recording, words: dict[str, str]) -> Kind:
    if words.get("invalid"):
        return Kind.INVALID
    if curve.outcome is Phase.PARTED:
        return Kind.FAILED
    if curve.outcome is Phase.EASED and recording.complete:
        return Kind.AT_LEAST
    return Kind.PARTIAL


def _per_mm(force_n: float, header: RunHeader) -> float:
    length = header.specimen.get("penetration_mm")
    try:
        return force_n / float(length) if length else NAN
    except ValueError:
        return NAN


def _flags(curve: PullCurve, recording: Recording) -> list[str]:
    """Return every reason to look twice, in words."""
    samples, header = recording.samples, recording.header
    flags = []
    if recording.cut_short:
        flags.append("cut short")
    if header.zero_before is None:
        flags.append("no zero before")
    if curve.peak.spikes:
        flags.append("spikes left out")
    if _raw_stands_out(curve, samples):
        flags.append("raw maximum above median of 3")
    if (samples["flags"] & int(Flag.SATURATED)).any():
        flags.append("saturated")
    if _gap_near_maximum(curve, samples):
        flags.append("gap near the maximum")
    if (samples["flags"] & int(Flag.RESTART)).any():
        flags.append("board restart")
    at_maximum = samples["index"] == curve.peak.index
    if curve.forces.extrapolated[at_maximum].any():
        flags.append("beyond the verified range")
    return flags


def _raw_stands_out(curve: PullCurve, samples: np.ndarray) -> bool:
    lone = lone_spikes(curve.forces.at_specimen_n, math.inf)
    barred = (samples["flags"] & int(NOT_A_MAXIMUM)) != 0
    usable = curve.forces.at_specimen_n[~(lone | barred)]
    gap = curve.peak.force_n - curve.peak.median3_n
    return bool(len(usable)) and gap > RAW_OVER_MEDIAN * curve.peak.force_n


def _gap_near_maximum(curve: PullCurve, samples: np.ndarray) -> bool:
    near = np.abs(curve.seconds - curve.peak.seconds) < GAP_NEAR_MAXIMUM_S / 2
    return bool((samples["flags"][near] & int(Flag.GAP)).any())


def _chain_words(curve: PullCurve, recording: Recording) -> str:
    at = np.flatnonzero(recording.samples["index"] == curve.peak.index)
    return curve.chain.words(recording.samples["counts"][at[0]]) if len(at) else ""


def _empty(recording: Recording, file: Path) -> PullResult:
    flags = ("no samples", "cut short") if recording.cut_short else ("no samples",)
    return PullResult(
        file,
        recording.header.specimen,
        Kind.PARTIAL,
        "",
        *(NAN,) * 5,
        cracks=0,
        f_per_mm_n=NAN,
        flags=flags,
    )
