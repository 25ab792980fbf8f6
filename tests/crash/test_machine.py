"""The machine fails or somebody ends the program: words, an exit code, and a file that is good."""

import contextlib
import json
import os
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from daq.record.events import EventKind
from daq.record.reader import read_recording
from simulators.serving import BoardOrder, serve
from tui.commands.demo import demo_rig_file

fcntl = pytest.importorskip("fcntl")
pty = pytest.importorskip("pty")
resource = pytest.importorskip("resource")
termios = pytest.importorskip("termios")

NO_RIGHTS = Path(__file__).with_name("no_rights_child.py")
RECORDED = min((Path(__file__).parents[2] / "recordings").rglob("*.h5"))
PULLSTAND = [sys.executable, "-P", "-m", "tui"]
SPEED = 30.0
DEADLINE_S = 60.0
DEVICE, RECORDING, INTERRUPTED = 3, 5, 130
ROOT = getattr(os, "geteuid", lambda: 1)() == 0

pytestmark = pytest.mark.slow


@pytest.fixture
def board():
    """A board with one pull of a good minute, two seconds long here."""
    with serve(BoardOrder("hardwood-withdrawal", seed=4, speed=SPEED)) as served:
        yield served


@pytest.fixture
def pull(board):
    """A factory of headless pulls, in processes of their own."""
    running = []

    def start(folder, **options):
        process = subprocess.Popen(
            [
                *(*PULLSTAND, "pull", "--rig", str(demo_rig_file()), "--port", board.port),
                *("--out", str(folder), "--headless", "--pulls", "1", "--json"),
            ],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            **options,
        )
        running.append(process)
        return process

    yield start
    for process in running:
        process.kill()
        process.communicate()


@pytest.fixture
def small_disk(tmp_path):
    """A factory of small file systems of so many MB."""
    if not ROOT or shutil.which("mount") is None:
        pytest.skip("needs the right to mount a small file system")
    mounted = []

    def mount(size_mb, options=""):
        place = tmp_path / f"disk-{len(mounted)}"
        place.mkdir()
        told = ["mount", "-t", "tmpfs", "-o", f"size={size_mb}m{options}", "tmpfs", str(place)]
        if subprocess.run(told, check=False, capture_output=True).returncode:
            pytest.skip("mounting is not allowed here")
        mounted.append(place)
        return place

    yield mount
    for place in mounted:
        subprocess.run(["umount", "-l", str(place)], check=True)


def recording_in(folder: Path, rows: int = 600) -> Path:
    """Wait until a recording has grown past what so many rows need."""
    end = time.monotonic() + DEADLINE_S
    while time.monotonic() < end:
        for path in folder.glob("*.h5"):
            with contextlib.suppress(FileNotFoundError):
                if path.stat().st_size > 40_000 + rows * 30:
                    return path
        time.sleep(0.01)
    raise AssertionError("no recording grew")


def ended(process, code):
    """Wait for the end; return the words, and the JSON document if there is one."""
    out, words = process.communicate(timeout=DEADLINE_S)
    assert "Traceback" not in words
    assert process.returncode == code, words
    return words, json.loads(out) if out else None


def fill(folder: Path, leave_mb: int) -> None:
    """Fill a disk up."""
    count = shutil.disk_usage(folder).free // 1_000_000 - leave_mb
    with contextlib.suppress(OSError), (folder / "other program").open("wb") as file:
        for _ in range(count + (0 if leave_mb else 2)):
            file.write(b"\0" * 1_000_000)
            file.flush()


@pytest.mark.parametrize(("leave_mb", "words"), [(15, "MB left in"), (0, "No space left")])
def test_a_disk_that_fills_up_in_a_pull(pull, small_disk, leave_mb, words):
    """Ended while there is room, or at the last commit: told, and what was written is good."""
    folder = small_disk(64)
    process = pull(folder)
    path = recording_in(folder)
    fill(folder, leave_mb)
    told, document = ended(process, RECORDING)
    assert words in told or "MB left in" in told
    assert document["recordings"] == [str(path)]
    assert len(read_recording(path).samples) > 600


def test_a_disk_that_is_full_at_the_start(pull, small_disk):
    told, _ = ended(pull(small_disk(10)), RECORDING)
    assert "a recording needs 20 MB. Make room, or choose another folder" in told


def test_a_read_only_disk_is_told_at_the_start(pull, small_disk):
    told, _ = ended(pull(small_disk(64, ",ro")), RECORDING)
    assert "Nothing can be recorded in" in told
    assert "Read-only file system" in told


@pytest.fixture
def open_place():
    """A folder that everybody may enter: that of a test belongs to whom runs it."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


@pytest.mark.parametrize(("folder_mode", "file_mode"), [(0o777, 0o644), (0o555, 0o000)])
def test_without_permission_it_is_told_in_words(open_place, folder_mode, file_mode):
    """Also where root runs the tests: the child gives its rights up. With permission both work."""
    folder, recording = open_place / "pulls", open_place / "copy.h5"
    folder.mkdir()
    recording.write_bytes(RECORDED.read_bytes())
    folder.chmod(folder_mode)
    recording.chmod(file_mode)
    done = subprocess.run(
        [sys.executable, str(NO_RIGHTS), str(folder), str(recording)],
        capture_output=True,
        text=True,
        timeout=DEADLINE_S,
        check=False,
    )
    folder.chmod(0o755)
    assert (done.returncode, done.stderr) == (0, "")
    written, read = done.stdout.splitlines()
    if folder_mode == 0o777:
        assert (written, read) == ("done", "done")
    else:
        assert "Nothing can be recorded in" in written and "Permission denied" in written
        assert "Choose another folder with --out, or make it writable" in written
        assert "cannot be read" in read and "Permission denied" in read


def test_a_file_that_vanishes_in_a_pull(pull, tmp_path):
    process = pull(tmp_path)
    recording_in(tmp_path).unlink()
    told, _ = ended(process, RECORDING)
    assert "was deleted while it was being written" in told


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_ends_a_headless_pull_and_finishes_its_file(pull, tmp_path, name):
    process = pull(tmp_path)
    path = recording_in(tmp_path)
    process.send_signal(getattr(signal, name))
    told, document = ended(process, INTERRUPTED)
    assert "Interrupted: the pull was ended as it stood" in told
    assert document["recordings"] == [str(path)]
    recording = read_recording(path)
    assert recording.complete
    assert len(recording.samples) > 600


@pytest.mark.parametrize("megabytes", [300, 500])
def test_too_little_memory_is_told_in_words(pull, tmp_path, megabytes):
    """Whether it starts at all or not: an end in words, never a traceback or a crash."""

    def limit():
        resource.setrlimit(resource.RLIMIT_AS, (megabytes << 20, megabytes << 20))

    process = pull(tmp_path, preexec_fn=limit, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"})
    _, words = process.communicate(timeout=DEADLINE_S)
    assert "Traceback" not in words
    assert process.returncode in (0, 1, DEVICE, RECORDING), words


@pytest.mark.parametrize(("megabytes", "enough"), [(300, True), (150, False)])
def test_reduce_in_little_memory(megabytes, enough):
    """300 MB (address space) do for a pull; with too little it is told in a sentence."""

    def limit():
        resource.setrlimit(resource.RLIMIT_AS, (megabytes << 20, megabytes << 20))

    done = subprocess.run(
        [*PULLSTAND, "reduce", str(RECORDED), "--json"],
        capture_output=True,
        text=True,
        preexec_fn=limit,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        timeout=DEADLINE_S,
        check=False,
    )
    assert "Traceback" not in done.stderr
    if enough or done.returncode == 0:
        assert done.returncode == 0, done.stderr
        assert json.loads(done.stdout)[0]["max_force_n"] > 100
    else:
        assert done.returncode == 1
        assert done.stderr.startswith("pullstand: not enough memory: close other programs.")


# -- the console, on a terminal -------------------------------------------------------------------


class Terminal:
    """``pullstand pull`` on a pty of 80x24, which sends it SIGHUP if it ``controls`` it."""

    def __init__(self, port: str, folder: Path, controls: bool = True) -> None:
        self.near, self.far = pty.openpty()
        termios.tcsetwinsize(self.far, (24, 80))
        self.before = termios.tcgetattr(self.far)
        self.seen = b""
        environment = {**os.environ, "TERM": "xterm-256color"}
        environment.pop("NO_COLOR", None)
        self.process = subprocess.Popen(
            [
                *(*PULLSTAND, "pull", "--rig", str(demo_rig_file())),
                *("--port", port, "--out", str(folder)),
            ],
            stdin=self.far,
            stdout=self.far,
            stderr=self.far,
            env=environment,
            start_new_session=True,
            preexec_fn=(  # noqa: PLW1509 - its own
                (lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0)) if controls else None
            ),
        )

    def look(self, seconds=0.05) -> None:
        """Read what the console paints."""
        if select.select([self.near], [], [], seconds)[0]:
            self.seen += os.read(self.near, 65536)

    def until(self, done) -> None:
        end = time.monotonic() + DEADLINE_S
        while not done():
            assert time.monotonic() < end, self.seen[-3000:]
            self.look()

    def press(self, keys: bytes) -> None:
        os.write(self.near, keys)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        for descriptor in (self.near, self.far):
            with contextlib.suppress(OSError):
                os.close(descriptor)


@pytest.fixture
def console(board, tmp_path, request):
    """The console on a board whose pull is about to begin."""
    terminal = Terminal(board.port, tmp_path, getattr(request, "param", True))
    yield terminal
    terminal.close()


def assert_sane(terminal: Terminal) -> None:
    """Settings as before; second screen left, cursor shown (xterm modes 1049 and 25)."""
    assert termios.tcgetattr(terminal.far) == terminal.before
    for on, off in ((b"?1049h", b"?1049l"), (b"?25l", b"?25h")):
        assert terminal.seen.rfind(off) > terminal.seen.rfind(on)


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_a_signal_ends_the_console_in_a_pull(console, tmp_path, name):
    """Exit 130, a terminal as it was, a finished file."""
    console.until(lambda: any(p.stat().st_size > 60_000 for p in tmp_path.glob("*.h5")))
    console.process.send_signal(getattr(signal, name))
    console.until(lambda: console.process.poll() is not None)
    for _ in range(5):
        console.look()
    assert console.process.returncode == INTERRUPTED, console.seen[-2000:]
    assert_sane(console)
    (path,) = tmp_path.glob("*.h5")
    assert read_recording(path).complete


@pytest.mark.parametrize("console", [True, False], indirect=True, ids=["SIGHUP", "no SIGHUP"])
def test_a_terminal_that_is_closed_ends_the_console_and_keeps_the_pull(console, tmp_path):
    console.until(lambda: any(p.stat().st_size > 60_000 for p in tmp_path.glob("*.h5")))
    os.close(console.far)
    os.close(console.near)
    console.near, console.far = os.openpty()  # the names that `close` lets go
    assert console.process.wait(20) == INTERRUPTED
    (path,) = tmp_path.glob("*.h5")
    assert read_recording(path).complete


def test_a_terminal_that_takes_nothing_harms_no_pull(console, tmp_path):
    """Nobody reads the terminal for a whole pull: it is recorded without a gap."""
    console.until(lambda: any(tmp_path.glob("*.h5")))
    end = time.monotonic() + DEADLINE_S
    (path,) = tmp_path.glob("*.h5")
    while not read_recording(path).complete:
        assert time.monotonic() < end
        time.sleep(0.1)
    console.process.send_signal(signal.SIGTERM)
    console.until(lambda: console.process.poll() is not None)
    recording = read_recording(path)
    assert set(np.diff(recording.samples["index"].astype(int)).tolist()) == {1}
    assert recording.result["outcome"] == "parted"


def test_a_terminal_that_is_slow_delays_no_stop(tmp_path):
    """2 kB/s, as over a bad line: the stop is decided within 50 ms of the sample's coming."""
    with serve(BoardOrder("wound-back", seed=4, speed=SPEED)) as slow:
        terminal = Terminal(slow.port, tmp_path)
        try:
            end = time.monotonic() + DEADLINE_S
            while not any(read_recording(path).complete for path in tmp_path.glob("*.h5")):
                assert time.monotonic() < end
                if select.select([terminal.near], [], [], 0.0)[0]:
                    terminal.seen += os.read(terminal.near, 100)
                time.sleep(0.05)
            terminal.process.send_signal(signal.SIGTERM)
            terminal.until(lambda: terminal.process.poll() is not None)
        finally:
            terminal.close()
    (path,) = tmp_path.glob("*.h5")
    recording = read_recording(path)
    (trip,) = [event for event in recording.events if event.kind is EventKind.TRIP]
    assert trip.text.startswith("specimen force")
    came_ns = recording.samples["arrival_ns"][recording.samples["index"] < trip.index][-1]
    assert 0 <= trip.host_ns - came_ns < 50_000_000
    assert set(np.diff(recording.samples["index"].astype(int)).tolist()) == {1}
