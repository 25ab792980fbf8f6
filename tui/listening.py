"""A process of its own that opens one port and repeats what comes, as JSON lines.

The console starts it to look at a board: whatever the port does, the screen goes on.
"""

import json
import sys
import time

from daq.faults import DeviceFault
from daq.wire.serial_port import SerialPort

TELL_S = 0.2


def main() -> None:
    """Repeat what comes on PORT at BAUD for SECONDS, as hexadecimal digits."""
    name, baud, seconds = sys.argv[1], int(sys.argv[2]), float(sys.argv[3])
    try:
        port = SerialPort(name, baud)
    except DeviceFault as fault:
        _tell(refused=str(fault))
        return
    ends_s, told_s, held = time.monotonic() + seconds, time.monotonic(), bytearray()
    try:
        while (now_s := time.monotonic()) < ends_s:
            held += port.read().data
            if now_s - told_s >= TELL_S:
                _tell(data=held.hex())
                held.clear()
                told_s = now_s
        _tell(data=held.hex())
    except DeviceFault as fault:
        _tell(refused=str(fault))
    finally:
        port.close()


def _tell(**words: str) -> None:
    print(json.dumps(words), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
