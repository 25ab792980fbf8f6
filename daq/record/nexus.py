"""Writing small things the NeXus way: classed groups, texts with a checksum, fields with units."""

import hashlib
from collections.abc import Mapping
from typing import Any

import numpy as np

from daq.record import layout
from daq.record.inert_text import dataset_name, encodable

#: Ending of a key -> the unit it states.
_UNITS = {
    "_n": "N",
    "_mm": "mm",
    "_s": "s",
    "_kg": "kg",
    "_ns": "ns",
    "_us": "us",
    "_deg": "deg",
    "_pct": "percent",
    "_kg_m3": "kg/m^3",
    "_n_per_mm": "N/mm",
    "_per_mm_n": "N/mm",
    "_counts": "counts",
}


def unit_of(key: str) -> str:
    """Return the unit that the ending of ``key`` states, or ""."""
    endings = (ending for ending in sorted(_UNITS, key=len, reverse=True) if key.endswith(ending))
    return next((_UNITS[ending] for ending in endings), "")


def add_group(parent: Any, name: str, nexus_class: str) -> Any:
    """Create a group of a standard class."""
    group = parent.create_group(name)
    group.attrs["NX_class"] = nexus_class
    return group


def add_text(group: Any, name: str, text: str, checked: bool = False) -> None:
    """Write a UTF-8 text as a fixed-length string; ``checked`` adds its SHA-256."""
    import h5py

    data = encodable(text).encode("utf-8")
    dtype = h5py.string_dtype("utf-8", length=max(1, len(data)))
    dataset = group.create_dataset(name, data=data, dtype=dtype)
    if checked:
        dataset.attrs[layout.SHA256] = hashlib.sha256(data).hexdigest()


def add_fields(group: Any, mapping: Mapping[str, Any]) -> None:
    """Write texts and numbers as single fields with units, for general viewers.

    Keys that make the same field name are written once: the JSON text beside them has all.
    """
    for key, value in mapping.items():
        name = dataset_name(key)
        if not name or name in group:
            continue
        if isinstance(value, str):
            add_text(group, name, value)
        elif isinstance(value, int | float):
            group.create_dataset(name, data=float(value)).attrs["units"] = unit_of(key)


def add_table(group: Any, name: str, shape: tuple[int, ...], dtype: Any, chunk: int) -> Any:
    """Create an empty table that grows by rows; ``shape`` is that of a row."""
    return group.create_dataset(
        name, (0, *shape), maxshape=(None, *shape), chunks=(chunk, *shape), dtype=dtype
    )


def extend(dataset: Any, rows: np.ndarray) -> None:
    """Append rows to a table; by the library's own calls, which cost a fifth of h5py's slices."""
    from h5py import h5s

    table = dataset.id
    here = table.shape
    table.set_extent((here[0] + len(rows), *here[1:]))
    space = table.get_space()
    space.select_hyperslab((here[0],) + (0,) * (len(here) - 1), rows.shape)
    table.write(h5s.create_simple(rows.shape), space, np.ascontiguousarray(rows))
