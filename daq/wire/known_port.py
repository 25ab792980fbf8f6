"""Where the board is plugged in: after a replug the system may have given its port another name."""

from collections.abc import Callable, Sequence
from pathlib import Path

from daq.wire.serial_port import AttachedPort, attached_ports


class KnownPort:
    """The port a person named, known again by its adapter: ids and serial number.

    A name that is a link (as under /dev/serial/by-id) is followed anew each time by itself.
    """

    def __init__(
        self, name: str, attached: Callable[[], Sequence[AttachedPort]] = attached_ports
    ) -> None:
        self._name = name
        self._attached = attached
        self._adapter: AttachedPort | None = None

    def opened(self) -> None:
        """The board is there now: look at the adapter that it hangs on."""
        here = Path(self._name).resolve()
        for port in self._attached():
            if Path(port.device).resolve() == here:
                self._adapter = port

    def name(self) -> str:
        """Return the name of the port now; the one that was given where nothing better is known."""
        if self._adapter is None:
            return self._name
        same = [port for port in self._attached() if self._is_it(port)]
        return same[0].device if len(same) == 1 else self._name

    def _is_it(self, port: AttachedPort) -> bool:
        known = self._adapter
        return (
            known is not None
            and bool(known.vid_pid)
            and (port.vid_pid, port.serial_number) == (known.vid_pid, known.serial_number)
        )
