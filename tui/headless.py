"""A session without a screen: waits for pulls to come and go, then says what happened."""

import contextlib
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict
from typing import Any

from daq.acquisition import Acquisition
from daq.faults import DeviceFault, Fault, RecordingFault, StoppedByGuard
from daq.live_reading import LiveReading, Recording

POLL_S = 0.05
FIRST_SAMPLE_S = 5.0


class Interrupted(Fault):
    """Ctrl-C, or a signal that asks to end."""

    exit_code = 130


@contextlib.contextmanager
def ending_by_signal() -> Iterator[None]:
    """Let SIGTERM and SIGHUP do what Ctrl-C does: end the pull, finish the file, say so.

    SIGINT too is asked for aloud: a shell starts what runs in its background with it ignored.
    """
    before = {}
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        if number := getattr(signal, name, None):
            before[number] = signal.signal(number, signal.default_int_handler)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def run_headless(
    session: Acquisition, pulls: int | None, seconds: float | None
) -> tuple[dict[str, Any], Fault | None]:
    """Run a started session till N pulls are saved, S seconds are over, or something ends it.

    Returns the JSON document, and the fault that ended it (None: it ended as wished).
    """
    deadline = None if seconds is None else time.monotonic() + seconds
    trips: list[Any] = []
    fault: Fault | None = None
    try:
        with ending_by_signal():
            fault = _wait(session, pulls, deadline, trips.append)
    except KeyboardInterrupt:
        fault = Interrupted("Interrupted: the pull was ended as it stood and its file finished.")
    finally:
        ended = _close(session)
        fault = fault or _stopped(session) or ended
    return document(session, trips), fault


def _wait(
    session: Acquisition,
    pulls: int | None,
    deadline: float | None,
    tripped: Callable[[Any], None],
) -> Fault | None:
    trip = None
    first_due = time.monotonic() + FIRST_SAMPLE_S
    while session.ended_because is None:
        reading = session.latest()
        if reading.trip is not None and trip is None:
            trip = reading.trip
            tripped(trip)
        if reading.recording.state is Recording.FAULT:
            return RecordingFault(reading.recording.message)
        if not reading.samples and time.monotonic() > first_due:
            return DeviceFault(
                f"No usable line in {FIRST_SAMPLE_S:.0f} s: {reading.unknown_because}."
            )
        done = len(session.summaries)
        if trip is not None and not in_pull(reading, done):
            return StoppedByGuard(f"Stopped by the guard: {trip.message}.")
        if pulls is not None and done >= pulls:
            return None
        if deadline is not None and time.monotonic() >= deadline:
            return None
        time.sleep(POLL_S)
    return None


def _stopped(session: Acquisition) -> Fault | None:
    """Return the guard's stop, if it came before the board went away and not because of that."""
    trip = session.latest().trip
    if trip is None or session.ended_because in (None, trip.message):
        return None
    return StoppedByGuard(f"Stopped by the guard: {trip.message}.")


def in_pull(reading: LiveReading, ended: int) -> bool:
    """Whether a pull is on: more were begun than ended."""
    return reading.pull_number > ended


def _close(session: Acquisition) -> Fault | None:
    try:
        session.close()
    except Fault as fault:
        return fault
    return None


def document(session: Acquisition, trips: list[Any]) -> dict[str, Any]:
    """Return what a headless session came to, as the JSON contract names it."""
    reading = session.latest()
    trip = trips[0] if trips else reading.trip
    return {
        "recordings": [str(path) for path in session.saved],
        "samples": reading.samples,
        "bad_lines": dict(reading.bad_lines),
        "gaps": reading.gaps,
        "lost_samples": reading.lost_samples,
        "trip": None if trip is None else asdict(trip),
        "ended_because": session.ended_because or "",
        "notices": list(reading.notices),
    }
