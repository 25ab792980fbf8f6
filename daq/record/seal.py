"""The seal: a checksum line behind the HDF5 data of a closed recording.

HDF5 ignores bytes behind its own end, so the file stays plain HDF5. A recording that carries a
whole seal is, to the byte, what the program wrote: no flipped bit can pass as a number.

    head -c <size> FILE | sha256sum        gives the sum that  tail -c 108 FILE  shows
"""

import hashlib
import os
import re
from enum import Enum
from pathlib import Path
from typing import BinaryIO

_LINE = "\npullstand seal 1 sha256 {digest} size {size:012d}\n"
_PATTERN = re.compile(rb"\npullstand seal 1 sha256 ([0-9a-f]{64}) size ([0-9]{12})\n")
LENGTH = len(_LINE.format(digest="0" * 64, size=0))
_BLOCK = 1 << 20


class Seal(Enum):
    """What the end of a file says."""

    WHOLE = "whole"
    BROKEN = "broken"
    NONE = "none"


def add_seal(file: BinaryIO) -> None:
    """Append the seal to an open file and have the system put it on the disk."""
    size = file.seek(0, os.SEEK_END)
    line = _LINE.format(digest=_digest(file, size), size=size).encode("ascii")
    file.seek(size)
    if file.write(line) != len(line):
        file.truncate(size)
        raise OSError("the seal could not be written whole")
    os.fsync(file.fileno())


def read_seal(path: Path) -> tuple[Seal, str]:
    """Return whether the file's seal holds, and the checksum it states ("" without a seal)."""
    with path.open("rb") as file:
        size = file.seek(0, os.SEEK_END)
        if size < LENGTH:
            return Seal.NONE, ""
        file.seek(size - LENGTH)
        found = _PATTERN.fullmatch(file.read(LENGTH))
        if found is None:
            return Seal.NONE, ""
        stated = found[1].decode("ascii")
        whole = int(found[2]) == size - LENGTH and _digest(file, size - LENGTH) == stated
        return (Seal.WHOLE if whole else Seal.BROKEN), stated


def _digest(file: BinaryIO, size: int) -> str:
    file.seek(0)
    digest = hashlib.sha256()
    while size > 0:
        block = file.read(min(_BLOCK, size))
        if not block:
            break
        digest.update(block)
        size -= len(block)
    return digest.hexdigest()
