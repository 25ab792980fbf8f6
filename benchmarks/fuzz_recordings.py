"""Damaged recordings in large numbers: what the HDF5 library does with them, and what we say.

A cut-short and a finished recording are emptied, cut, flipped and spliced. A worker reads each copy
and asks what repair would say, by the public functions; only what a child process of its own
would do for each file is done in the worker itself. Where that hangs or dies it is counted, and the
public road is then tried on that very file. A wrong number that nothing flags would be counted: it
must be none. `python -m benchmarks.fuzz_recordings 10000` is the large series.
"""

import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.table import Row, print_rows
from daq.faults import RecordingFault
from daq.record import guarded, reader, repair
from daq.record import header as headers
from daq.record.contents import open_contents
from daq.record.events import Event, EventKind
from daq.record.pull_file import Forces, PullFile
from daq.record.reader import Recording, read_recording
from daq.samples import Flag, sample_dtype

HEADER = Path(__file__).parents[1] / "tests" / "unit" / "daq" / "record" / "data" / "header.json"
BATCHES, BATCH = 30, 23
BASES = ("cut short", "finished")
HANG_S = 8.0


def run(files: int = 1_000) -> list[Row]:
    """Return a row per kind of damage: what was read, refused, or made the library fail."""
    seen: dict[str, Counter[str]] = {name: Counter() for name in DAMAGES}
    slowest = 0.0
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        _originals(place)
        first = 0
        while first < files:
            first, failed = _work(place, first, files, seen)
            if failed:
                slowest = max(slowest, _public_road(place, first - 1, seen))
    return [_row(name, kinds, slowest) for name, kinds in seen.items() if kinds]


def _row(name: str, kinds: Counter[str], slowest: float) -> Row:
    failed = kinds["hung"] + kinds["died"]
    files = sum(kinds.values()) - kinds["hung"] - kinds["died"]
    road = f"; there the guarded road took up to {slowest:.0f} s" if failed else ""
    return Row(
        name=f"{files} recordings, {name}",
        ours=", ".join(f"{count} {what}" for what, count in sorted(kinds.items())),
        other=f"{kinds['wrong']} wrong, {kinds['traceback']} tracebacks",
        goal="0 wrong",
        note=f"the library failed on {failed}{road}",
    )


# -- the originals --------------------------------------------------------------------------------


def _originals(folder: Path) -> None:
    """Make a cut-short and a finished recording of the same samples."""
    pull = PullFile.create(folder, headers.from_json(HEADER.read_text(encoding="utf-8")), 2)
    for number in range(BATCHES):
        pull.append(_samples(number * BATCH, BATCH))
        pull.event(Event(EventKind.MARK, number, number, "mark"))
        pull.commit()
    (folder / "cut short.h5").write_bytes(pull.path.read_bytes())
    force = _samples(0, BATCHES * BATCH)["counts"][:, 0].astype(float)
    pull.finish({"max_force_n": 1234.5}, None, Forces(force, force, force))
    pull.path.rename(folder / "finished.h5")


def _samples(start: int, count: int) -> np.ndarray:
    samples = np.zeros(count, sample_dtype(2))
    samples["index"] = np.arange(start, start + count)
    samples["board_us"] = samples["index"] * 10752
    samples["counts"] = samples["index"][:, None] * 3 + np.array([0, 1])
    return samples


# -- the damage -----------------------------------------------------------------------------------


def _emptied(data: bytes, chance: random.Random) -> bytes:
    return b"" if chance.random() < 0.5 else bytes(chance.randrange(1, len(data)))


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: chance.randrange(len(data))]


def _flipped(data: bytes, chance: random.Random) -> bytes:
    flipped = bytearray(data)
    # groups and headers stand in front
    reach = len(data) if chance.random() < 0.5 else len(data) // 3
    for _ in range(chance.choice([1, 1, 2, 8, 64])):
        flipped[chance.randrange(reach)] ^= 1 << chance.randrange(8)
    return bytes(flipped)


def _spliced(data: bytes, chance: random.Random) -> bytes:
    """Move, repeat, drop or overwrite stretches, as a bad sector or a broken copy would."""
    out = bytearray(data)
    for _ in range(chance.choice([1, 1, 2, 4])):
        length = chance.choice([1, 8, 64, 512, 4096])
        at, other = chance.randrange(len(out)), chance.randrange(len(out))
        kind = chance.randrange(5)
        if kind == 0:
            del out[at : at + length]
        elif kind == 1:
            out[at:at] = out[other : other + length]
        elif kind == 2:
            piece = out[other : other + length]
            out[at : at + len(piece)] = piece
        elif kind == 3:
            end = min(len(out), at + length)
            out[at:end] = bytes(end - at)
        else:
            end = min(len(out), at + length)
            out[at:end] = chance.randbytes(end - at)
        if not out:
            break
    return bytes(out)


DAMAGES: dict[str, Callable[[bytes, random.Random], bytes]] = {
    "empty or zeros": _emptied,
    "cut": _cut,
    "bits flipped": _flipped,
    "spliced": _spliced,
}
#: One file in twenty is emptied, a fifth cut, the rest flipped or spliced.
_TURNS = ("empty or zeros", *("cut",) * 4, *("bits flipped",) * 8, *("spliced",) * 7)


def _damage(seed: int) -> str:
    return _TURNS[seed % len(_TURNS)]


def _base(seed: int) -> str:
    """Return which original a seed spoils: the unsealed one is the harder, and comes more often."""
    return BASES[seed // len(_TURNS) % 4 == 3]


def _mutated(originals: dict[str, bytes], seed: int) -> bytes:
    return DAMAGES[_damage(seed)](originals[_base(seed)], random.Random(seed))


# -- the work -------------------------------------------------------------------------------------


def _work(folder: Path, first: int, files: int, seen: dict[str, Counter[str]]) -> tuple[int, bool]:
    """Let a worker go on from ``first``; return where the next starts, and whether it failed."""
    command = [sys.executable, "-m", "benchmarks.fuzz_recordings", "worker", str(folder)]
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
    for seed, (what, words) in enumerate(told, first):
        seen[_damage(seed)][what] += 1
        if words:
            print(f"seed {seed}, {_base(seed)}, {_damage(seed)}: {what}: {words}")
    if first + len(told) >= files:
        return files, False
    seen[_damage(first + len(told))]["hung" if hung else "died"] += 1
    return first + len(told) + 1, True


def _read_originals(folder: Path) -> dict[str, bytes]:
    return {name: (folder / f"{name}.h5").read_bytes() for name in BASES}


def _public_road(folder: Path, seed: int, seen: dict[str, Counter[str]]) -> float:
    """Read the file that made the library fail the way the program does; return the seconds."""
    path = folder / "failed.h5"
    path.write_bytes(_mutated(_read_originals(folder), seed))
    right = read_recording(folder / f"{_base(seed)}.h5")
    begun = time.monotonic()
    what, words = _judge(path, right)
    taken = time.monotonic() - begun
    seen[_damage(seed)][f"{what} after that"] += 1
    print(
        f"seed {seed}, {_base(seed)}, {_damage(seed)}: after that {what} in {taken:.1f} s {words}"
    )
    return taken


def _worker(folder: Path, first: int, files: int) -> None:
    originals = _read_originals(folder)
    rights = {name: read_recording(folder / f"{name}.h5") for name in BASES}
    path = folder / f"mutated-{os.getpid()}.h5"
    guarded._limit_memory(max(map(len, originals.values())))
    reader.read_guarded = _in_this_process
    repair.read_guarded = _in_this_process
    for seed in range(first, files):
        path.write_bytes(_mutated(originals, seed))
        sys.stdout.write(json.dumps(_judge(path, rights[_base(seed)])) + "\n")
        sys.stdout.flush()
    path.unlink()
    os._exit(0)


def _in_this_process(path: Path, salvage: bool = False) -> object:
    """Do what the guarded child does, without the child."""
    read = guarded._salvage if salvage else partial(open_contents, sealed=False)
    try:
        return read(path)
    except MemoryError:
        raise RecordingFault("it asks for more memory than its size explains") from None


def _judge(path: Path, right: Recording) -> tuple[str, str]:
    """Return what reading and repair came to, and words on what must not be."""
    try:
        said = _read(path, right)
        wrong = _repair(path, right)
    except Exception as error:
        return "traceback", repr(error)
    if said.startswith("wrong") or wrong:
        return "wrong", f"{said} {wrong}"
    return said, ""


def _read(path: Path, right: Recording) -> str:
    try:
        found = read_recording(path)
    except RecordingFault as fault:
        return "refused" if _is_sentence(str(fault)) else f"wrong words {str(fault)!r}"
    wrong = _wrong(found, right)
    if wrong:
        return f"wrong {wrong}"
    if found.complete:
        return "read whole"
    part = "whole" if len(found.samples) == len(right.samples) else "in part"
    return f"read {part}, said to be cut short"


def _wrong(found: Recording, right: Recording) -> str:
    """Return what in a recording is not what was written, "" if nothing is."""
    samples, events = found.samples, found.events
    held = {
        "header": found.header == right.header,
        "samples": np.array_equal(samples, right.samples[: len(samples)]),
        "events": repr(events) == repr(right.events[: len(events)]),  # a value may be NaN
        "result": not found.result or dict(found.result) == dict(right.result),
        "state": not found.complete
        or (right.complete and len(samples) == len(right.samples) and bool(found.result)),
    }
    return ", ".join(name for name, fits in held.items() if not fits)


def _repair(path: Path, right: Recording) -> str:
    """Return "" if what repair finds is right, else what is wrong."""
    try:
        report = repair.examine(path)
    except RecordingFault as fault:
        return "" if _is_sentence(str(fault)) else f"repair's words {str(fault)!r}"
    if not all(map(_is_sentence, report.findings)):
        return f"repair's words {report.findings!r}"
    if report.recording is None:
        return "" if report.state == "unreadable" else f"nothing, but {report.state}"
    found = report.recording.samples
    places = found["index"].astype(int)
    if not np.isin(places, right.samples["index"]).all():
        return "repair found a sample that was never there"
    there = right.samples[places].copy()
    there["flags"] |= found["flags"] & np.uint16(Flag.GAP)
    return "" if np.array_equal(found, there) else "repair's numbers"


def _is_sentence(text: str) -> bool:
    return bool(text) and "\n" not in text and text.isprintable() and "Traceback" not in text


if __name__ == "__main__":
    if sys.argv[1:2] == ["worker"]:
        _worker(Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
    else:
        print_rows(run(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000))
