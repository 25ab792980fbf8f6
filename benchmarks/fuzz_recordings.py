"""Mutated recordings in large numbers: what the HDF5 library does with them, and what we say.

A worker reads mutated copies of a cut-short file (bits flipped, end lost) exactly as the guarded
child does, but many in one process; where it hangs or dies is counted, and the public road is then
tried on that very file. A wrong number that nothing flags would be counted: it must be none.
`python -m benchmarks.fuzz_recordings 10000` is the large series.
"""

import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from benchmarks.table import Row, print_rows
from daq.faults import RecordingFault
from daq.record import header as headers
from daq.record.contents import good_commits, open_contents
from daq.record.events import Event, EventKind
from daq.record.pull_file import PullFile
from daq.record.reader import read_recording
from daq.samples import sample_dtype

HEADER = Path(__file__).parents[1] / "tests" / "unit" / "daq" / "record" / "data" / "header.json"
BATCHES, BATCH = 30, 23
HANG_S = 8.0


def run(files: int = 1_000) -> list[Row]:
    """Return one row: how many files, how many were refused, read, or made the library fail."""
    with tempfile.TemporaryDirectory() as folder:
        whole = _cut_short_file(Path(folder))
        seen: Counter[str] = Counter()
        slowest = 0.0
        first = 0
        while first < files:
            first, failed = _work(whole, first, files, seen)
            if failed:
                slowest = max(slowest, _public_road(whole, first - 1, seen))
    return [
        Row(
            name=f"{files} mutated recordings",
            ours=", ".join(f"{count} {what}" for what, count in sorted(seen.items())),
            goal="0 wrong",
            note=f"the library failed on {seen['hung'] + seen['died']}; there the guarded road "
            f"took up to {slowest:.0f} s",
        )
    ]


def _cut_short_file(folder: Path) -> Path:
    pull = PullFile.create(folder, headers.from_json(HEADER.read_text(encoding="utf-8")), 2)
    for number in range(BATCHES):
        pull.append(_samples(number * BATCH, BATCH))
        pull.event(Event(EventKind.MARK, number, number, "mark"))
        pull.commit()
    copy = folder / "whole.h5"
    copy.write_bytes(pull.path.read_bytes())
    pull.abort("copied")
    return copy


def _samples(start: int, count: int) -> np.ndarray:
    samples = np.zeros(count, sample_dtype(2))
    samples["index"] = np.arange(start, start + count)
    samples["counts"] = samples["index"][:, None] * 3 + np.array([0, 1])
    return samples


def _work(whole: Path, first: int, files: int, seen: Counter[str]) -> tuple[int, bool]:
    """Let a worker go on from ``first``; return where the next starts, and whether it failed."""
    command = [sys.executable, "-m", "benchmarks.fuzz_recordings", "worker", str(whole)]
    with subprocess.Popen(
        [*command, str(first), str(files)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as worker:
        assert worker.stdout is not None
        os.set_blocking(worker.stdout.fileno(), False)
        buffer, heard = b"", time.monotonic()
        while worker.poll() is None and time.monotonic() - heard < HANG_S:
            data = worker.stdout.read()
            if data:
                buffer, heard = buffer + data, time.monotonic()
            else:
                time.sleep(0.02)
        hung = worker.poll() is None
        worker.kill()
        buffer += worker.stdout.read() or b""
    told = [json.loads(line) for line in buffer.decode().splitlines()]
    seen.update(told)
    if first + len(told) >= files:
        return files, False
    seen["hung" if hung else "died"] += 1
    return first + len(told) + 1, True


def _public_road(whole: Path, seed: int, seen: Counter[str]) -> float:
    """Read the file that made the library fail the way the program does; return the seconds."""
    path = whole.with_name("failed.h5")
    path.write_bytes(_mutated(whole.read_bytes(), seed))
    begun = time.monotonic()
    try:
        recording = read_recording(path)
        right = _samples(0, BATCHES * BATCH)["counts"][: len(recording.samples)]
        fits = np.array_equal(recording.samples["counts"], right)
        seen["read right after that" if fits else "wrong"] += 1
    except RecordingFault:
        seen["refused after that"] += 1
    return time.monotonic() - begun


def _mutated(data: bytes, seed: int) -> bytes:
    chance = random.Random(seed)
    if seed % 5 == 0:
        return data[: chance.randrange(len(data))]
    flipped = bytearray(data)
    reach = len(data) if seed % 2 else len(data) // 3  # groups and headers stand in front
    for _ in range(chance.choice([1, 1, 2, 8, 64])):
        flipped[chance.randrange(reach)] ^= 1 << chance.randrange(8)
    return bytes(flipped)


def _worker(whole: Path, first: int, files: int) -> None:
    data = whole.read_bytes()
    right = open_contents(whole, sealed=False)
    path = whole.with_name(f"mutated-{os.getpid()}.h5")
    for seed in range(first, files):
        path.write_bytes(_mutated(data, seed))
        sys.stdout.write(json.dumps(_judge(path, right)) + "\n")
        sys.stdout.flush()
    path.unlink()
    os._exit(0)


def _judge(path: Path, right: object) -> str:
    try:
        contents = open_contents(path, sealed=False)
        good = good_commits(contents)
    except RecordingFault:
        return "refused"
    except MemoryError:
        return "refused for memory"
    ends = contents.commits["rows"].astype(int)
    sound = [slice(end - BATCH, end) for end, fits in zip(ends, good, strict=True) if fits]
    true = _samples(0, BATCHES * BATCH)
    wrong = any(
        not np.array_equal(contents.samples[rows]["counts"], true[rows]["counts"]) for rows in sound
    )
    if wrong or contents.header_json != right.header_json:  # type: ignore[attr-defined]
        return "wrong"
    return "read right" if good.all() else "read in part"


if __name__ == "__main__":
    if sys.argv[1:2] == ["worker"]:
        _worker(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    else:
        print_rows(run(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000))
