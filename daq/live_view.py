"""A session's state as the frozen reading a screen looks at."""

from daq.force.zero import Zero
from daq.live_reading import CellReading, LiveReading, RecordingState
from daq.pull_session import PullSession
from daq.wall_anchor import WallAnchor

CLIMB_S = 2.0
SHARE_FROM_PART_OF_STOP = 0.01
NAN = float("nan")


def live_reading(session: PullSession, recording: RecordingState, now_ns: int) -> LiveReading:
    """Return one look at the session. Where the force is not known it is NaN, with the reason."""
    unknown = unknown_because(session, now_ns)
    live = not unknown
    peak, phase = session.peak, session.state.phase
    stop = session.rig.stop
    newest = session.newest
    pull = session.pull
    zero = session.zero_taken
    return LiveReading(
        host_ns=now_ns,
        live=live,
        unknown_because=unknown,
        force_n=session.force_n if live else NAN,
        at_cells_n=float(newest.forces.at_cells_n[-1]) if live and newest else NAN,
        ratio=session.rig.lever.ratio,
        cells=_cells(session, live),
        climb_n_per_s=session.past.climb_n_per_s(CLIMB_S) if live else NAN,
        maximum_n=peak.force_n,
        median3_maximum_n=peak.median3_n,
        phase=phase.phase,
        pull_number=len(session.summaries) + (pull is not None),
        pull_elapsed_s=_elapsed_s(session),
        stop_n=stop.stop_n,
        warn_n=stop.warn_n,
        trip=session.state.guard.trip,
        still_loaded=session.still_loaded,
        extrapolated=bool(live and newest and newest.forces.extrapolated[-1]),
        verified=session.calibration.verified,
        zeroed=session.zeroed,
        zero_note="" if zero is None else _zero_note(zero, session.anchor),
        samples=session.samples,
        samples_per_s=session.past.rate_per_s(CLIMB_S),
        bad_lines=session.tally.bad_lines,
        gaps=session.tally.gaps,
        lost_samples=session.tally.lost_samples,
        recording=recording,
        specimen=session.specimens.on_rig,
        next_label=session.specimens.next_label,
        notices=tuple(session.notices),
    )


def _zero_note(zero: Zero, anchor: WallAnchor) -> str:
    """Return when and how the zero was taken; of one known beforehand, how."""
    when = f"at {anchor.at(zero.taken_ns):%H:%M} " if zero.taken_ns else ""
    return f"{when}from {zero.samples} quiet samples"


def unknown_because(session: PullSession, now_ns: int) -> str:
    """Return why the force must not be shown, "" when it may."""
    heard_ns = session.state.guard.heard_ns
    if session.lost_because:
        return session.lost_because
    if session.newest is None or heard_ns is None:
        return session.link_words or "no data yet"
    if now_ns - heard_ns > session.chain.limits.stale_after_ns:
        return session.link_words or f"no data for {(now_ns - heard_ns) / 1e9:.1f} s"
    if not session.zeroed:
        return "no zero taken: hook slack, hands off, then zero"
    if session.saturated:
        return "a converter is at its end"
    return session.doubts.now


def _elapsed_s(session: PullSession) -> float:
    if session.pull is None or session.newest is None:
        return NAN
    return float(session.newest.seconds[-1]) - session.pull.began_s


def _cells(session: PullSession, live: bool) -> tuple[CellReading, ...]:
    cells = session.rig.cells
    if not live or session.newest is None:
        return tuple(CellReading(cell.name, NAN, cell.capacity_n, NAN) for cell in cells)
    forces = session.newest.forces.cells_n[-1]
    total = float(forces.sum())
    enough = total > SHARE_FROM_PART_OF_STOP * session.rig.stop.stop_n / session.rig.lever.ratio
    return tuple(
        CellReading(
            cell.name, float(force), cell.capacity_n, float(force) / total if enough else NAN
        )
        for cell, force in zip(cells, forces, strict=True)
    )
