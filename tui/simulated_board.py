"""A simulated board in a process of its own, as a context: a port to open, truth at the end."""

import json
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from types import TracebackType
from typing import Any

from daq.faults import DeviceFault

ENDING_S = 10.0


class SimulatedBoard:
    """``pullstand simulate`` as a child process; `port` can be opened at once."""

    def __init__(self, scenario: str, *, seed: int, pulls: int, speed: float) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="pullstand-")
        self._truth = Path(self._folder.name) / "truth.json"
        self._words = (
            *("simulate", scenario, "--seed", str(seed), "--pulls", str(pulls)),
            *("--speed", str(speed), "--truth", str(self._truth)),
        )
        self._process: subprocess.Popen[str] | None = None
        self.port = ""

    def __enter__(self) -> "SimulatedBoard":
        # -P: a stray analysis.py in the person's folder must not be taken for ours
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", "tui", *self._words],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,  # Ctrl-C is for the console, which then ends the board
        )
        assert self._process.stdout is not None
        self.port = self._process.stdout.readline().strip()
        if not self.port:
            _, words = self._process.communicate()
            self._folder.cleanup()
            raise DeviceFault(f"The simulated board did not start. {words.strip()}")
        return self

    def end(self) -> dict[str, Any]:
        """End the board and return what was true."""
        assert self._process is not None
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGTERM)
        try:
            self._process.communicate(timeout=ENDING_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.communicate()
        if not self._truth.exists():
            return {}
        truth: dict[str, Any] = json.loads(self._truth.read_text("utf-8"))
        return truth

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.end()
        self._folder.cleanup()
