"""Later changes: added beside what stands, never over it.

A change is written into a copy beside the recording; the copy is sealed, put on the disk and then
takes the recording's name in one step. A kill at any moment leaves the recording as it was or with
the change, whole; at worst a copy named ``*.h5.new-*`` is left behind, which may be deleted.
"""

import contextlib
import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from daq.faults import RecordingFault
from daq.record import header as headers
from daq.record import layout
from daq.record.held_file import HeldFile
from daq.record.inert_text import error_words, inert
from daq.record.metadata import write_change
from daq.record.reader import check_regular
from daq.record.seal import LENGTH, Seal, add_seal, read_seal
from daq.wall_anchor import HOST_CLOCK, Clock


def add_history(
    path: Path,
    change: Mapping[str, Any],
    reason: str,
    data: Mapping[str, np.ndarray] | None = None,
    clock: Clock = HOST_CLOCK,
) -> None:
    """Append a change with date and reason, and arrays that belong to it, to a closed recording.

    What stood before stays untouched. Raises RecordingFault where the file is not a whole, sealed
    recording (a cut-short one is repaired first), the reason is empty, or the disk fails.
    """
    if not reason.strip():
        raise RecordingFault(f"{path.name}: a change needs a reason in words.")
    check_regular(path)
    try:
        seal, stated = read_seal(path)
        if seal is not Seal.WHOLE:
            raise RecordingFault(
                f"{inert(str(path))}: was cut short or changed, so nothing can be added to it. "
                "Make a sound copy first: pullstand repair FILE -o COPY."
            )
        at = clock.wall().isoformat()
        text = headers.mapping_json({"at": at, "reason": reason, "change": change})
        _replace_with_change(path, stated, text, data or {})
    except (OSError, RuntimeError, ValueError) as error:
        raise RecordingFault(
            f"{inert(str(path))}: the change could not be written ({error_words(error)}). "
            "The recording is as it was."
        ) from error


def _replace_with_change(
    path: Path, stated: str, text: str, data: Mapping[str, np.ndarray]
) -> None:
    handle, name = tempfile.mkstemp(prefix=f"{path.name}.new-", dir=path.parent)
    copy = Path(name)
    try:
        with os.fdopen(handle, "r+b", buffering=0) as raw:
            with path.open("rb") as old:
                shutil.copyfileobj(old, raw, 1 << 20)
            raw.truncate(path.stat().st_size - LENGTH)
            _append_change(raw, text, data)
            add_seal(raw)
        shutil.copymode(path, copy)
        if read_seal(path) != (Seal.WHOLE, stated):
            raise RecordingFault(f"{path.name}: was changed by another program at the same time.")
        copy.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            copy.unlink()
        raise


def _append_change(raw: Any, text: str, data: Mapping[str, np.ndarray]) -> None:
    import h5py

    held = HeldFile(raw)
    with h5py.File(held, "r+") as file:
        write_change(file[layout.ENTRY], text, data)
    held.commit(sync=True)
