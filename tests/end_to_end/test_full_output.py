"""Output that nobody takes, or that fits nowhere: a sentence and a code, never a traceback."""

import subprocess
import sys
from pathlib import Path

import pytest

FULL = Path("/dev/full")
CALL = [sys.executable, "-P", "-c", "import sys; from tui.cli import main; sys.exit(main())"]
SHORT = ["predict", "wood-screw", "G12=0.5", "d_mm=5", "l_mm=30"]


def run(words, out):
    """The exit code and what stands on stderr."""
    with Path(out).open("wb") as taken:
        done = subprocess.run(
            [*CALL, *words],
            stdout=taken,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    return done.returncode, done.stderr


@pytest.mark.skipif(not FULL.exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("words", [["--help"], SHORT, [*SHORT, "--json"]], ids=" ".join)
def test_a_full_disk_under_the_output_is_told(words):
    code, complaint = run(words, FULL)
    assert code == 1
    assert complaint.startswith("pullstand: nothing more can be written (No space left on device)")
    assert len(complaint.splitlines()) == 1


def test_a_reader_that_went_away_is_no_fault():
    """As in ``pullstand --help | head -1``."""
    writer = subprocess.Popen(
        [*CALL, *SHORT, "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert writer.stdout is not None
    assert writer.stderr is not None
    writer.stdout.close()
    assert writer.stderr.read() == b""
    assert writer.wait(60) == 0
    writer.stderr.close()
