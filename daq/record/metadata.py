"""What a new file holds before its first sample, and the result it gets at its end.

The JSON texts are the authority and carry a checksum; the single fields are copies of them for
general viewers of NeXus files.
"""

import io
from collections.abc import Mapping
from typing import Any

import numpy as np

from daq.faults import RecordingFault
from daq.record import header as headers
from daq.record import layout, nexus
from daq.record.header import RunHeader, ZeroRecord
from daq.record.inert_text import dataset_name, inert
from daq.samples import sample_dtype


def empty_file(header: RunHeader) -> bytes:
    """Return a whole file with all groups and texts, and tables that are still empty."""
    import h5py

    image = io.BytesIO()
    with h5py.File(image, "w") as file:
        _write_metadata(file, header)
    return image.getvalue()


def _write_metadata(file: Any, header: RunHeader) -> None:
    file.attrs["default"] = layout.ENTRY
    file.attrs["creator"] = f"pullstand {header.program_version}"
    entry = nexus.add_group(file, layout.ENTRY, "NXentry")
    entry.attrs["default"] = layout.RAW
    entry.attrs[layout.STATE] = layout.OPEN
    entry.attrs[layout.ENDED_BECAUSE] = ""
    nexus.add_text(entry, "definition", layout.FORMAT_NAME)
    nexus.add_text(entry, "definition_version", str(layout.FORMAT_VERSION))
    nexus.add_text(entry, "start_time", header.started_at.isoformat())
    nexus.add_text(entry, "title", header.label or f"pull {header.pull_number}")
    nexus.add_text(entry, layout.HEADER, headers.to_json(header), checked=True)
    _write_raw(entry, header)
    _write_instrument(entry, header)
    sample = nexus.add_group(entry, layout.SAMPLE, layout.CLASSES[layout.SAMPLE])
    nexus.add_fields(sample, header.specimen)
    nexus.add_table(entry, layout.EVENTS, (), layout.EVENT_DTYPE, layout.EVENTS_PER_CHUNK)
    nexus.add_table(entry, layout.COMMITS, (), layout.COMMIT_DTYPE, layout.COMMITS_PER_CHUNK)
    nexus.add_group(entry, layout.HISTORY, layout.CLASSES[layout.HISTORY])


def _write_raw(entry: Any, header: RunHeader) -> None:
    raw = nexus.add_group(entry, layout.RAW, layout.CLASSES[layout.RAW])
    dtype = sample_dtype(len(header.cells))
    for name in layout.RAW_FIELDS:
        field = dtype[name]
        table = nexus.add_table(raw, name, field.shape, field.base, layout.ROWS_PER_CHUNK)
        table.attrs["units"] = layout.RAW_UNITS[name]
    raw.attrs["signal"] = "counts"
    raw.attrs["axes"] = texts("board_us" if header.has_board_clock else "arrival_ns", ".")


def _write_instrument(entry: Any, header: RunHeader) -> None:
    group = nexus.add_group(entry, layout.INSTRUMENT, layout.CLASSES[layout.INSTRUMENT])
    nexus.add_fields(
        group,
        {
            "name": header.rig.name,
            "build": header.rig.build,
            "rig_file": header.rig.text,
            "calibration": header.calibration,
            "calibration_fingerprint": header.calibration_fingerprint,
            "ratio": header.ratio,
            "stop_n": header.stop_n,
            "warn_n": header.warn_n,
            "cells": ", ".join(cell.name for cell in header.cells),
        },
    )
    nexus.add_fields(nexus.add_group(group, "lever", "NXcollection"), header.lever)
    if header.zero_before is not None:
        _write_zero(group, "zero_before", header.zero_before)


def _write_zero(instrument: Any, name: str, zero: ZeroRecord) -> None:
    group = nexus.add_group(instrument, name, "NXcollection")
    group["counts"] = np.asarray(zero.counts)
    group["sd_counts"] = np.asarray(zero.sd_counts)
    for field in ("counts", "sd_counts"):
        group[field].attrs["units"] = "counts"
    nexus.add_text(group, "taken_at", zero.taken_at.isoformat())


def write_result(entry: Any, result: dict[str, Any], zero_after: ZeroRecord | None) -> None:
    """Write the closing zero and the result of a pull."""
    if zero_after is not None:
        _write_zero(entry[layout.INSTRUMENT], "zero_after", zero_after)
    group = nexus.add_group(entry, layout.RESULT, layout.CLASSES[layout.RESULT])
    plain = headers.plain_value(result)
    nexus.add_text(
        group,
        layout.JSON,
        headers.mapping_json({"result": plain, "zero_after": headers.zero_to_plain(zero_after)}),
        checked=True,
    )
    nexus.add_fields(group, plain)


def texts(*words: str) -> np.ndarray:
    """Return ASCII words as the string array that NeXus attributes want."""
    return np.array([word.encode("ascii") for word in words])


def write_change(entry: Any, text: str, data: Mapping[str, np.ndarray]) -> None:
    """Append a change (JSON text) and its arrays to the history. Raises RecordingFault."""
    history = entry[layout.HISTORY]
    group = nexus.add_group(history, f"{len(history) + 1:04d}", "NXnote")
    nexus.add_text(group, layout.JSON, text, checked=True)
    for key, values in data.items():
        array = np.ascontiguousarray(values)
        if not dataset_name(key) or array.dtype.kind not in "iuf":
            raise RecordingFault(f"{inert(key, 60)}: only arrays of numbers can be added.")
        group.create_dataset(dataset_name(key), data=array).attrs["units"] = nexus.unit_of(key)
