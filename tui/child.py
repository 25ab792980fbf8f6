"""A helper process whose lines are looked at in between: the console waits for nothing.

Its output goes to a file of its own, so that no pipe can fill and no thread is needed.
"""

import contextlib
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = str(Path(__file__).parent.parent)
PATIENCE_S = 2.0


class Child:
    """``python -m MODULE ARGUMENTS``; each line of its output is one JSON document."""

    def __init__(self, module: str, *arguments: str) -> None:
        handle, name = tempfile.mkstemp(prefix="pullstand-")
        self._file = Path(name)
        self._output = self._file.open("rb")  # a position of its own, apart from the child's
        self._read = 0
        self._rest = b""
        path = os.pathsep.join(filter(None, [HERE, os.environ.get("PYTHONPATH")]))
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-m", module, *arguments],
            stdin=subprocess.DEVNULL,
            stdout=handle,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": path},
        )
        os.close(handle)

    @property
    def ended(self) -> bool:
        """Whether it has ended and everything it said was taken."""
        return self._process.poll() is not None and self._size() == self._read

    @property
    def failed(self) -> bool:
        """Whether it ended by a defect."""
        return self._process.poll() not in (None, 0)

    def take(self) -> list[dict[str, Any]]:
        """Return the documents that came since the last call."""
        data = self._output.read()
        self._read += len(data)
        *lines, self._rest = (self._rest + data).split(b"\n")
        return [json.loads(line) for line in lines if line.strip()]

    def close(self) -> None:
        """End it, politely first."""
        if self._process.poll() is None:
            self._process.terminate()
            try:
                self._process.wait(PATIENCE_S)
            except subprocess.TimeoutExpired:
                self._process.kill()
                self._process.wait(PATIENCE_S)
        self._output.close()
        with contextlib.suppress(OSError):
            self._file.unlink()

    def _size(self) -> int:
        return os.fstat(self._output.fileno()).st_size
