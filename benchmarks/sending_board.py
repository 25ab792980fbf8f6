"""A board in another process: lines of four cells on a pty, as fast or as paced as asked.

It imports nothing: what is measured shares no code with it.
"""

import os
import subprocess
import sys
import tty
from collections.abc import Callable
from typing import TypeVar

# argv: the descriptor to write to, lines a second (0: no pause)
_BOARD = """
import os, sys, time
board, pace, count = int(sys.argv[1]), float(sys.argv[2]), 0
begin = time.monotonic()
try:
    while True:
        due = count + 200
        if pace:
            time.sleep(0.001)
            due = int((time.monotonic() - begin) * pace)
        data = b"".join(
            b"%d,%d,%d,%d,%d\\n" % (k * 55 % 2**32, COUNTS) for k in range(count, due)
        )
        count = due
        while data:
            data = data[os.write(board, data):]
except OSError:
    pass
"""

T = TypeVar("T")


def on_pty(counts: str, pace: float, use: Callable[[str], T]) -> T:
    """Return what ``use`` makes of the pty that the board writes to; it gets the port's name.

    ``counts`` are the four counts of line ``k``, as Python text; ``pace`` is in lines a second.
    """
    board, host = os.openpty()
    tty.setraw(host)
    script = _BOARD.replace("COUNTS", counts)
    writer = subprocess.Popen(
        [sys.executable, "-c", script, str(board), str(pace)], pass_fds=[board]
    )
    os.close(board)
    try:
        return use(os.ttyname(host))
    finally:
        writer.kill()
        writer.wait()
        os.close(host)
