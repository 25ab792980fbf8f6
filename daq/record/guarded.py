"""Reading a file that cannot be trusted: in a process of its own, which may crash or hang.

The HDF5 library was not made for damaged files. A file without a whole seal (cut short, flipped,
or made elsewhere) is read by a child with limits of time and memory; what it sends back are plain
arrays and texts.
"""

import io
import json
import os
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from daq.faults import RecordingFault
from daq.record.contents import Contents, in_words, open_contents, read_contents

LIMIT_S = 15.0  # and more for a long file
_BYTES_PER_S = 20e6
_MEMORY_FLOOR = 2 << 30
_FAULT = 9
_CODE = (
    "import sys, json; sys.path[:] = json.loads(sys.argv[1]); "
    "from daq.record.guarded import serve; serve(sys.argv[2], sys.argv[3])"
)
#: Where the superblock of a default-format file states how long the file must be (HDF5 File
#: Format Specification, superblock version 0: end of file address).
_END_ADDRESS = slice(40, 48)
_MAGIC = b"\x89HDF\r\n\x1a\n"
_PAD_LIMIT = 1 << 30


def read_guarded(path: Path, salvage: bool = False) -> Contents:
    """Read a file in a child process. Raises RecordingFault, also when the child dies or hangs.

    With ``salvage`` a file that lost its tail is read as if zeros stood there, and whatever in it
    is damaged beside the samples is left out.
    """
    arguments = [json.dumps(sys.path), str(path), str(int(salvage))]
    limit_s = LIMIT_S + path.stat().st_size / _BYTES_PER_S
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1"}
    try:
        child = subprocess.run(
            [sys.executable, "-I", "-c", _CODE, *arguments],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=limit_s,
            env=environment,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise RecordingFault(f"it cannot be read within {limit_s:.0f} s") from None
    if child.returncode == _FAULT:
        raise RecordingFault(child.stdout.decode("utf-8", "replace"))
    if child.returncode != 0:
        raise RecordingFault("it is damaged so that the HDF5 library fails on it")
    return _unpack(child.stdout)


def serve(path: str, salvage: str) -> None:
    """Read in the child: send the contents, or the fault in words, on stdout."""
    _limit_memory(Path(path).stat().st_size)
    try:
        read = _salvage if int(salvage) else partial(open_contents, sealed=False)
        answer, code = _pack(read(Path(path))), 0
    except RecordingFault as fault:
        answer, code = str(fault).encode("utf-8", "replace"), _FAULT
    except MemoryError:
        answer, code = b"it asks for more memory than its size explains", _FAULT
    sys.stdout.buffer.write(answer)
    sys.stdout.buffer.flush()
    os._exit(code)  # the HDF5 library may crash while it tidies up after a damaged file


def _limit_memory(size: int) -> None:
    try:
        import resource
    except ImportError:  # a system without such limits
        return
    limit = _MEMORY_FLOOR + 8 * size
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _salvage(path: Path) -> Contents:
    import h5py

    data = path.read_bytes()
    if data[:8] != _MAGIC:
        raise RecordingFault("it does not start as an HDF5 file")
    stated = int.from_bytes(data[_END_ADDRESS], "little")
    if stated > _PAD_LIMIT:
        raise RecordingFault("the length it states makes no sense")
    whole = io.BytesIO(data.ljust(stated, b"\0"))
    with in_words(), h5py.File(whole, "r") as file:
        return read_contents(file, max(stated, len(data)), salvage=True)


# -- across the pipe ---------------------------------------------------------------------------

_TEXTS = ("header_json", "state", "ended_because", "events_not_kept", "result_json")
_TABLES = ("samples", "events", "commits")


def _pack(contents: Contents) -> bytes:
    texts = {name: getattr(contents, name) for name in _TEXTS}
    texts["history"] = [[text, list(data)] for text, data in contents.history]
    out = io.BytesIO()
    _put(out, np.frombuffer(json.dumps(texts).encode("utf-8"), dtype=np.uint8))
    for name in _TABLES:
        _put(out, getattr(contents, name))
    for _, data in contents.history:
        for array in data.values():
            _put(out, np.asarray(array))
    return out.getvalue()


def _put(out: BinaryIO, array: np.ndarray) -> None:
    np.save(out, array, allow_pickle=False)


def _unpack(data: bytes) -> Contents:
    source = io.BytesIO(data)

    def take() -> np.ndarray:
        array: np.ndarray = np.load(source, allow_pickle=False)
        return array

    parts: dict[str, Any] = json.loads(take().tobytes())
    parts |= {name: take() for name in _TABLES}
    parts["history"] = tuple(
        (text, {key: take() for key in keys}) for text, keys in parts["history"]
    )
    return Contents(**parts)
