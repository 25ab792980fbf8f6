"""The set-up of the link: which ports there are, what one sends, what the rig file should say."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from daq.faults import InputFault
from daq.rig.rig import Link
from daq.wire.proposal import Proposal, best, propose, toml_lines
from daq.wire.serial_port import AttachedPort, attached_ports
from tui.child import Child
from tui.drawing import EMPTY, Line, fit, wrapped
from tui.page import Desk
from tui.view import View
from tui.widgets.page_parts import listed, moved

LISTENER = "tui.listening"
LISTEN_S = 3.0  # a board that restarts at opening needs some of it
BAUDS = (115200, 9600, 57600, 230400, 250000, 460800, 921600, 1000000, 38400, 19200)
LINES = 6
AGAIN_LOOKS = 30  # looks between two listings of the ports
ENOUGH = 0.9
PRESS_EACH = "Press each cell by hand and listen again: does its field rise?"


@dataclass(frozen=True, slots=True)
class LinkPlace:
    """Where a link is kept, and what the session does with another one.

    ``own_port`` is the port the session has open ("" for none); ``reopen`` starts the session anew
    on a port, None where that cannot be.
    """

    rig_file: Path | None
    link: Link | None
    cells: tuple[str, ...]
    own_port: str = ""
    reopen: Callable[[str], None] | None = None


class LinkPage:
    """Lists ports, listens to one at a time in a process of its own, proposes."""

    name = "link"

    def __init__(self, desk: Desk, place: LinkPlace) -> None:
        self.desk, self.place = desk, place
        self.cells = place.cells
        self.ports: list[AttachedPort] = []
        self._list()
        self.chosen = 0
        self.port = ""
        self.baud = 0
        self.data = bytearray()
        self.trouble = ""
        self.found: list[Proposal | None] = []
        self.proposal: Proposal | None = None
        self._child: Child | None = None
        self._to_try: list[int] = []
        self._looks = 0

    # What comes

    def look(self) -> None:
        """Take in what the listener has; when it has ended, try the next rate or propose."""
        self._looks += 1
        if self._looks % AGAIN_LOOKS == 0:
            self._list()
        if self._child is None:
            return
        for told in self._child.take():
            self.trouble = told.get("refused", "")
            self.data += bytes.fromhex(told.get("data", ""))
        if self._child.ended:
            self._child.close()
            self._child = None
            self._next()

    def _next(self) -> None:
        if self.trouble:
            return
        self.found.append(propose(bytes(self.data), LISTEN_S, self.baud, self.cells))
        self.proposal = best(self.found)
        good = self.proposal is not None and self.proposal.fits >= ENOUGH
        if good or not self._to_try:
            self._to_try = []
            return
        self._listen(self._to_try.pop(0))

    def _listen(self, baud: int) -> None:
        self.baud = baud
        self.data.clear()
        self._child = Child(LISTENER, self.port, str(baud), str(LISTEN_S))

    def _list(self) -> None:
        """List what is attached, what was typed, and what this session has open."""
        ports = attached_ports()
        known = {port.device for port in ports} | {port.by_id for port in ports}
        named = [port.device for port in self.ports if port.description == TYPED]
        own = [self.place.own_port] if self.place.own_port else []
        more = [name for name in dict.fromkeys([*own, *named]) if name not in known]
        self.ports = ports + [AttachedPort(name, "", "", "", TYPED) for name in more]

    def close(self) -> None:
        """Let the port go."""
        if self._child is not None:
            self._child.close()
            self._child = None

    # Keys

    def press(self, key: str, pressed: str) -> None:
        """Do what a key stands for."""
        if key in ("up", "down"):
            self.chosen = moved(self.chosen, key, pressed, len(self.ports))
        elif key == "listen":
            self._begin()
        elif key == "port":
            self.desk.ask_line("Name of the port, or socket://HOST:PORT:", self._typed)
        elif key == "cells":
            self.desk.ask_line("Fields of the load cells, in order:", self._cells,
                               " ".join(self.cells))  # fmt: skip
        elif key == "take":
            self._take()

    def _begin(self) -> None:
        if not self.ports:
            self.desk.say("no port is attached: plug the board in, or type a name (p)")
            return
        port = self.ports[min(self.chosen, len(self.ports) - 1)]
        if self._is_own(port):
            self.desk.say(
                "this session has that port open: its lines are judged on the live screen"
            )
            return
        self.close()
        self.port, self.trouble, self.proposal = port.by_id or port.device, "", None
        self.found = []
        first = self.place.link.baud if self.place.link else BAUDS[0]
        self._to_try = [baud for baud in BAUDS if baud != first]
        self._listen(first)

    def _typed(self, text: str) -> None:
        if text.strip():
            self.ports.append(AttachedPort(text.strip(), "", "", "", TYPED))
            self.chosen = len(self.ports) - 1
            self._begin()

    def _cells(self, text: str) -> None:
        names = tuple(text.replace(",", " ").split())
        if names:
            self.cells = names
            self.found = [propose(bytes(self.data), LISTEN_S, self.baud, names)]
            self.proposal = best(self.found)

    def _take(self) -> None:
        if self.proposal is None:
            self.desk.say("nothing is proposed yet: choose a port and listen (Enter)")
            return
        proposal, reopen = replace(self.proposal.link, port=self.port), self.place.reopen
        if self.place.rig_file is None:
            self.desk.say("no rig file to write into: copy the lines into one")
            return
        try:
            write_link(self.place.rig_file, proposal)
            self.desk.use_rig_file(self.place.rig_file)
        except InputFault as fault:
            self.desk.say(f"not written: {fault}")
            return
        if reopen is None:
            self.desk.say(f"written into {self.place.rig_file}; it counts from the next start")
            return
        if self.desk.request(lambda: reopen(self.port), f"written; listening to {self.port}"):
            self.place = replace(self.place, own_port=self.port)

    # Drawing

    def draw(self, view: View, width: int, height: int) -> list[Line]:
        """Draw ports, raw lines and the proposal."""
        rows = [self._row(port) for port in self.ports] or [
            (("none attached: plug the board in, or p types its name", "warn"),)
        ]
        lines: list[Line] = [
            ((" Ports", "strong"), ("   name that stays, VID:PID, what it is", "quiet"))
        ]
        lines += listed(rows, self.chosen, width, min(len(rows), max(2, height // 4)))
        lines += [EMPTY, *self._heard(width), EMPTY, *self._proposed(width)]
        return [fit(line, width) for line in lines][:height]

    def _row(self, port: AttachedPort) -> Line:
        used = self._is_own(port)
        name = port.by_id or port.device
        about = f"   {port.vid_pid or '-'}   {port.description}"
        return ((name, "strong"), (about + ("   in use by this session" if used else ""), ""))

    def _is_own(self, port: AttachedPort) -> bool:
        own = self.place.own_port
        return bool(own) and own in (port.device, port.by_id)

    def _heard(self, width: int) -> list[Line]:
        if self.trouble:
            return [((f" {row}", "warn"),) for row in wrapped(self.trouble, width - 2)]
        if not self.port:
            return [((" Enter listens to the chosen port; nothing is written until y.", ""),)]
        state = "listening" if self._child is not None else "listened"
        head = f" {state} at {self.baud} baud: {len(self.data)} bytes from {self.port}"
        raw = bytes(self.data[-600:]).split(b"\n")[-LINES - 1 : -1]
        shown = [((f"   {_printable(line)}", "quiet"),) for line in raw]
        return [((head, "strong"),), *shown]

    def _proposed(self, width: int) -> list[Line]:
        if self.proposal is None:
            silent = self._child is None and bool(self.port) and not self.trouble
            words = (
                "Nothing sensible came at any rate: is it the right board, does it send by itself?"
            )
            return [((f" {words}", "warn"),)] if silent else []
        p = self.proposal
        head = f" Proposed: {100 * p.fits:.0f} % of {p.lines} lines fit"
        take = f"   y writes it into {self.place.rig_file or 'a rig file'}"
        role = "good" if p.fits >= ENOUGH else "warn"
        lines: list[Line] = [((head, role), (take, "strong"))]
        lines += [
            ((f"   {key} = {_toml(value)}", ""),) for key, value in toml_lines(p.link).items()
        ]
        lines += [
            ((f"   {row}", "quiet"),) for words in p.seen for row in wrapped(words, width - 4)
        ]
        return [*lines, ((f" {PRESS_EACH}", ""),)]


TYPED = "typed"


def write_link(path: Path, link: Link) -> None:
    """Write a link into a rig file, its comments kept. Raises InputFault; then nothing changed."""
    from daq.rig.rig_file import read_rig_text, with_value

    try:
        text = path.read_text(encoding="utf-8")
        values = {"port": link.port or "", **toml_lines(link)}
        for key, value in values.items():
            text = with_value(text, f"link.{key}", value)  # type: ignore[arg-type]
        read_rig_text(text, str(path), path.parent)
        beside = path.with_suffix(".toml.new")
        beside.write_text(text, encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise InputFault(f"{path}: cannot be written: {error.strerror}") from None


def _toml(value: object) -> str:
    import json

    return json.dumps(value)


def _printable(line: bytes) -> str:
    return line.rstrip(b"\r").decode("ascii", "backslashreplace").replace("\t", "→")[:120]
