"""What goes over the wire and when: every line of a session, with its faults built in.

The board was running before the port was opened: the tail of its old run comes first, then, since
opening starts the board again, its banner and a clock near 0.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from simulators.amplifier import COUNTS_HIGH
from simulators.faults import FaultOrder, Placed, place
from simulators.simulation import Simulation
from simulators.truth import Delivery, TrueFault
from simulators.wire_encoder import PacketWire, TextWire, Wire

BANNER = "ossel-brook cells {cells} firmware 3"
OLD_CLOCK_US = 83_214_336  # of the board's run before the port was opened
LETTERS = b"?~xk!"
GOOD, MESSAGE, LOST = "good", "message", "lost"


@dataclass(frozen=True, slots=True)
class Sending:
    """One line or frame: when it is due (s from the start), its bytes, and what comes of it.

    ``outcome``: "good", "message", "lost", or the kind of bad line; ``samples``: how many samples
    the board meant to send by it.
    """

    due_s: float
    data: bytes
    samples: int
    outcome: str


@dataclass(frozen=True, slots=True)
class Transmission:
    """All sendings in order, the faults in them, and when the cable is pulled (None: never)."""

    sendings: tuple[Sending, ...]
    faults: tuple[TrueFault, ...]
    unplugged_s: float | None
    quiet_until_s: float  # no load before this: a reader that leaves earlier only looked

    @property
    def ends_s(self) -> float:
        """When the script is over."""
        return self.sendings[-1].due_s if self.unplugged_s is None else self.unplugged_s


def wire_for(
    simulation: Simulation,
    wire_format: str | None = None,
    checksum: str | None = None,
    line_end: bytes = b"\n",
) -> Wire:
    """Return the wire that the rig file describes, or the one asked for."""
    rig = simulation.rig
    if (wire_format or rig.wire_format) == "packet":
        return PacketWire()
    return TextWire(
        fields=rig.wire_fields,
        cells=rig.cells,
        separator=rig.separator,
        checksum=rig.checksum if checksum is None else checksum,
        line_end=line_end,
    )


def transmit(
    simulation: Simulation, wire: Wire, orders: Sequence[FaultOrder] = (), seed: int | None = None
) -> Transmission:
    """Return what the board sends. ``seed`` moves the faults (default: the simulation's)."""
    seed = simulation.truth.seed if seed is None else seed
    script = _Script(simulation, wire)
    for fault in place(simulation, orders, seed):
        script.put_in(fault, np.random.default_rng([seed, fault.sample, fault.variant]))
    return Transmission(
        sendings=script.sendings(),
        faults=tuple(script.faults),
        unplugged_s=script.unplugged_s,
        quiet_until_s=simulation.truth.first_load_s,
    )


def wire_bytes(transmission: Transmission) -> bytes:
    """Return every byte of the session, for checks without a port."""
    until = transmission.ends_s
    return b"".join(sending.data for sending in transmission.sendings if sending.due_s <= until)


def delivery(sent: Iterable[tuple[Sending, bool]], *, complete: bool) -> Delivery:
    """Count sendings; the second of each pair says whether it really went out."""
    samples = lines = messages = unread = good = 0
    bad: dict[str, int] = {}
    for sending, out in sent:
        samples += sending.samples if out else 0
        lines += bool(out and sending.data)
        messages += out and sending.outcome == MESSAGE
        unread += 0 if out else sending.samples
        if out and sending.outcome == GOOD:
            good += 1
        elif out and sending.outcome not in (MESSAGE, LOST):
            bad[sending.outcome] = bad.get(sending.outcome, 0) + 1
    return Delivery(samples, lines, messages, unread, good, bad, complete)


class _Script:
    """The sendings while faults are put in. Sample 0 of the wire is the old line."""

    def __init__(self, simulation: Simulation, wire: Wire) -> None:
        self._simulation = simulation
        self._wire = wire
        self._counts = simulation.counts.copy()
        self._clock_us = simulation.board_us.astype(np.int64)
        self._number = np.arange(simulation.samples)
        self._due_s = simulation.time_s.copy()
        self._outcome: dict[int, str] = {}
        self._edits: dict[int, tuple[str, bytes]] = {}  # sample -> fault, bytes
        self._unmade: set[int] = set()
        self._banners: dict[int, float] = {0: 0.0}  # before sample -> when
        self._first_cut = False
        self.faults: list[TrueFault] = []
        self.unplugged_s: float | None = None

    def put_in(self, fault: Placed, rng: np.random.Generator) -> None:
        """Put one fault in."""
        kind = fault.kind.replace("-", "_")
        what, samples = getattr(self, f"_{kind}")(fault, rng)
        time_s = float(self._simulation.board_us[fault.sample]) / 1e6
        self.faults.append(TrueFault(fault.kind, fault.sample, time_s, what, samples))

    def sendings(self) -> tuple[Sending, ...]:
        """Return the finished sendings, in the order of the wire."""
        out = [self._old_line()]
        merged_into = -1
        for sample in range(self._simulation.samples):
            if sample in self._banners:
                out.append(self._banner(sample))
            if sample in self._unmade or sample == merged_into:
                continue
            kind, _ = self._edits.get(sample, ("", b""))
            if kind == "merged":
                merged_into = sample + 1
            out.append(self._sending(sample))
        return tuple(out)

    def _sending(self, sample: int) -> Sending:
        kind, spoilt = self._edits.get(sample, ("", b""))
        due_s = float(self._due_s[sample])
        outcome = self._outcome.get(sample, GOOD)
        if outcome == LOST:
            return Sending(due_s, b"", 1, LOST)
        if kind == "merged":
            line = self._wire.joined(self._line(sample), self._line(sample + 1))
            return Sending(float(self._due_s[sample + 1]), line, 2, outcome)
        return Sending(due_s, spoilt if kind == "garbled" else self._line(sample), 1, outcome)

    def _line(self, sample: int) -> bytes:
        clock = int(self._clock_us[sample])
        return self._wire.sample(int(self._number[sample]), clock, self._counts[sample].tolist())

    def _old_line(self) -> Sending:
        line = self._wire.sample(7411, OLD_CLOCK_US, self._counts[0].tolist())
        return Sending(0.0, self._wire.cut(line) if self._first_cut else line, 1, "first line")

    def _banner(self, sample: int) -> Sending:
        text = BANNER.format(cells=self._counts.shape[1])
        return Sending(self._banners[sample], self._wire.message(0, 0, text), 0, MESSAGE)

    def _first_line_cut(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        self._first_cut = True
        return "first 3 bytes of the first line lost", 1

    def _restart(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        start_s = float(self._due_s[fault.sample])
        again = int(np.searchsorted(self._due_s, start_s + fault.seconds))
        self._unmade |= set(range(fault.sample, again))
        if again < len(self._due_s):
            self._banners[again] = start_s + 0.9 * fault.seconds
            began_us = self._clock_us[again] - round(0.1 * fault.seconds * 1e6)
            self._clock_us[again:] -= began_us
            self._number[again:] -= again
        count = again - fault.sample
        return (
            f"banner and clock from 0 after {fault.seconds:g} s, {count} samples not taken",
            count,
        )

    def _missing(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        self._outcome[fault.sample] = LOST
        return "line not sent", 1

    def _merged(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        checked = getattr(self._wire, "checksum", "none") != "none"
        self._edits[fault.sample] = ("merged", b"")
        self._outcome[fault.sample] = "checksum" if checked else "long"
        return "line end lost between this line and the next", 2

    def _garbled(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        line = self._line(fault.sample)
        checked = getattr(self._wire, "checksum", "crc") != "none"
        if fault.variant % 2 == 0 or isinstance(self._wire, PacketWire):
            at, letter = int(rng.integers(1, 1000)), LETTERS[int(rng.integers(len(LETTERS)))]
            if isinstance(self._wire, TextWire):
                at = self._digit_places(line)[at % len(self._digit_places(line))]
            self._edits[fault.sample] = ("garbled", self._wire.spoilt(line, at, letter))
            self._outcome[fault.sample] = "checksum" if checked else "not a number"
            return "one byte exchanged", 1
        places = self._digit_places(line)
        at = places[int(rng.integers(len(places)))]
        digit = (line[at] - 48 + int(rng.integers(1, 10))) % 10 + 48
        self._edits[fault.sample] = ("garbled", self._wire.spoilt(line, at, digit))
        self._outcome[fault.sample] = "checksum" if checked else GOOD
        return f"digit {chr(line[at])} became {chr(digit)} in a count", 1

    def _digit_places(self, line: bytes) -> list[int]:
        """Return where digits of the last count stand, its two leading ones left alone."""
        body = line.split(b"*")[0].rstrip(b"\r\n")
        start = body.rindex(self._simulation.rig.separator.encode()) + 1
        start += body[start : start + 1] in (b"-", b"+")
        return list(range(min(start + 2, len(body) - 1), len(body)))

    def _spike(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        cell = fault.variant % self._counts.shape[1]
        value = COUNTS_HIGH if fault.variant % 3 == 2 else -1
        self._counts[fault.sample, cell] = value
        return f"cell {self._simulation.rig.cells[cell]} reads {value}", 1

    def _stall(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        end_s = float(self._due_s[fault.sample]) + fault.seconds
        held = slice(fault.sample, int(np.searchsorted(self._due_s, end_s)))
        self._due_s[held] = end_s
        count = held.stop - held.start
        return f"{count} lines held back for {fault.seconds:g} s, then sent at once", count

    def _silence(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        end = int(np.searchsorted(self._due_s, self._due_s[fault.sample] + fault.seconds))
        self._outcome |= dict.fromkeys(range(fault.sample, end), LOST)
        count = end - fault.sample
        return f"nothing sent for {fault.seconds:g} s, {count} samples lost", count

    def _unplug(self, fault: Placed, rng: np.random.Generator) -> tuple[str, int]:
        self.unplugged_s = float(self._due_s[fault.sample])
        return "cable pulled; nothing comes after", self._simulation.samples - fault.sample
