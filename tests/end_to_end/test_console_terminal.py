"""Whatever ends the console, the terminal is as it was: a real pty, a real process."""

import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

pty = pytest.importorskip("pty")
termios = pytest.importorskip("termios")

CHILD = Path(__file__).with_name("console_child.py")
DEADLINE_S = 30.0


class Terminal:
    """A pty of 80x24 with a console on it."""

    def __init__(self, *arguments: str) -> None:
        self.master, self.slave = pty.openpty()
        termios.tcsetwinsize(self.slave, (24, 80))
        self.before = termios.tcgetattr(self.slave)
        self.seen = b""
        environment = {**os.environ, "TERM": "xterm-256color"}
        environment.pop("NO_COLOR", None)
        self.process = subprocess.Popen(
            [sys.executable, str(CHILD), *arguments],
            stdin=self.slave,
            stdout=self.slave,
            stderr=self.slave,
            env=environment,
            cwd=CHILD.parents[2],
        )

    def read_until(self, done) -> None:
        """Read what the console writes until ``done()``."""
        end = time.monotonic() + DEADLINE_S
        while not done():
            assert time.monotonic() < end, self.seen[-2000:]
            if select.select([self.master], [], [], 0.05)[0]:
                self.seen += os.read(self.master, 65536)

    def until_it_stands(self) -> None:
        self.read_until(lambda: b"room left" in self.seen)

    def until_it_ends(self) -> int:
        self.read_until(lambda: self.process.poll() is not None)
        while select.select([self.master], [], [], 0.05)[0]:
            self.seen += os.read(self.master, 65536)
        return self.process.returncode

    def assert_sane(self) -> None:
        assert termios.tcgetattr(self.slave) == self.before
        # xterm modes: 1049 second screen off, 25 cursor shown, 1003 mouse off, 2004 paste off
        for on, off in ((b"?1049h", b"?1049l"), (b"?25l", b"?25h"), (b"?1003h", b"?1003l")):
            assert self.seen.rfind(off) > self.seen.rfind(on)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def terminal():
    opened = []

    def open_one(*arguments: str) -> Terminal:
        opened.append(Terminal(*arguments))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()


@pytest.mark.parametrize("key", [b"q", b"\x03"], ids=["q", "Ctrl-C"])
def test_a_key_ends_it(terminal, key):
    console = terminal()
    console.until_it_stands()
    os.write(console.master, key)
    assert console.until_it_ends() == 0
    console.assert_sane()


@pytest.mark.parametrize("name", ["SIGTERM", "SIGINT", "SIGHUP"])
def test_a_signal_ends_it(terminal, name):
    console = terminal()
    console.until_it_stands()
    console.process.send_signal(getattr(signal, name))
    assert console.until_it_ends() == 130
    console.assert_sane()


def test_a_crash_leaves_the_terminal_as_it_was(terminal):
    console = terminal("--crash")
    assert console.until_it_ends() not in (0, 130)
    console.assert_sane()
