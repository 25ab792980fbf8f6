"""Reading the parts of a file, with suspicion: nothing is followed, nothing large is believed.

Only plain tables and texts inside the file itself are read. Links to elsewhere, virtual or external
data, references, filters, unexpected types and shapes that the file's size cannot hold are refused
before anything is allocated for them.
"""

import hashlib
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from daq.faults import RecordingFault
from daq.record import layout
from daq.record.inert_text import error_words, inert
from daq.samples import sample_dtype


@dataclass(frozen=True, slots=True, eq=False)
class Contents:
    """The parts of a file as they stand in it; ``samples`` may hold more than was committed."""

    header_json: str
    samples: np.ndarray
    events: np.ndarray
    commits: np.ndarray
    state: str
    ended_because: str
    events_not_kept: int
    result_json: str
    history: tuple[tuple[str, dict[str, np.ndarray]], ...] = field(default=())


def open_contents(path: Path) -> Contents:
    """Read the file at ``path``. Raises RecordingFault, also for what h5py raises."""
    import h5py

    size = path.stat().st_size
    try:
        with h5py.File(path, "r", locking="best-effort") as file:
            return read_contents(file, size)
    except RecordingFault:
        raise
    except Exception as error:  # h5py raises nearly anything on a damaged file
        raise RecordingFault(f"the HDF5 inside is damaged ({error_words(error)})") from None


def read_contents(file: Any, size: int) -> Contents:
    """Read an open file whose data are ``size`` bytes. Raises RecordingFault."""
    _refuse_strangers(file, size)
    entry = _group(file, layout.ENTRY)
    if _text(entry, "definition") != layout.FORMAT_NAME:
        raise RecordingFault("it is an HDF5 file, but not a recording of this program")
    version = _text(entry, "definition_version")
    if version != str(layout.FORMAT_VERSION):
        raise RecordingFault(
            f"its format version is {inert(version, 20)}, "
            f"this program reads {layout.FORMAT_VERSION}"
        )
    state = _attribute(entry, layout.STATE)
    if state not in layout.STATES:
        raise RecordingFault(f"its state {inert(str(state), 40)!r} is unknown")
    return Contents(
        header_json=_text(entry, layout.HEADER, checked=True),
        samples=_samples(_group(entry, layout.RAW)),
        events=_table(entry, layout.EVENTS, layout.EVENT_DTYPE),
        commits=_table(entry, layout.COMMITS, layout.COMMIT_DTYPE),
        state=str(state),
        ended_because=inert(str(_attribute(entry, layout.ENDED_BECAUSE)), 600),
        events_not_kept=_whole(entry[layout.EVENTS].attrs.get(layout.EVENTS_NOT_KEPT, 0)),
        result_json=_result(entry),
        history=_history(_group(entry, layout.HISTORY)),
    )


# -- what is refused ---------------------------------------------------------------------------


def _refuse_strangers(file: Any, size: int) -> None:
    """Walk the whole file; refuse links out of it and data it cannot hold itself."""
    import h5py

    waiting = [(file.id, 0)]
    seen = 0
    while waiting:
        group, depth = waiting.pop()
        if depth > layout.MAX_DEPTH:
            raise RecordingFault("its groups are nested too deep, or in a circle")
        for name in group:
            seen += 1
            if seen > layout.MAX_OBJECTS:
                raise RecordingFault(f"it holds more than {layout.MAX_OBJECTS} objects")
            if group.links.get_info(name).type != h5py.h5l.TYPE_HARD:
                raise RecordingFault(
                    f"it holds a link to elsewhere ({inert(name.decode('utf-8', 'replace'), 40)}), "
                    "which is never followed"
                )
            child = h5py.h5o.open(group, name)
            if isinstance(child, h5py.h5g.GroupID):
                waiting.append((child, depth + 1))
            elif isinstance(child, h5py.h5d.DatasetID):
                _refuse_dataset(child, size)
            else:
                raise RecordingFault("it holds an object that is neither group nor data")


def _refuse_dataset(dataset: Any, size: int) -> None:
    import h5py

    plist = dataset.get_create_plist()
    if plist.get_layout() == h5py.h5d.VIRTUAL or plist.get_external_count():
        raise RecordingFault("it takes data from other files, which is never followed")
    if plist.get_nfilters():
        raise RecordingFault("its data are filtered or compressed, which this program never does")
    if not _is_plain(dataset.get_type()):
        raise RecordingFault("it holds references or data of a kind this program never writes")
    if dataset.get_space().get_simple_extent_npoints() * dataset.get_type().get_size() > size:
        raise RecordingFault("it claims more data than the file can hold")


def _is_plain(datatype: Any) -> bool:
    """Whether a type is a number, a fixed text, or a record or array of such."""
    import h5py

    kind = datatype.get_class()
    if kind == h5py.h5t.COMPOUND:
        members = range(min(datatype.get_nmembers(), 64))
        return all(_is_plain(datatype.get_member_type(n)) for n in members)
    if kind == h5py.h5t.ARRAY:
        return _is_plain(datatype.get_super())
    if kind == h5py.h5t.STRING:
        return not datatype.is_variable_str()
    return kind in (h5py.h5t.INTEGER, h5py.h5t.FLOAT)


# -- what is read ------------------------------------------------------------------------------


def _group(parent: Any, name: str) -> Any:
    import h5py

    group = parent.get(name)
    if not isinstance(group, h5py.Group):
        raise RecordingFault(f"the group {name} is missing")
    return group


def _dataset(group: Any, name: str) -> Any:
    import h5py

    dataset = group.get(name)
    if not isinstance(dataset, h5py.Dataset):
        raise RecordingFault(f"{name} is missing")
    return dataset


def _text(group: Any, name: str, checked: bool = False) -> str:
    dataset = _dataset(group, name)
    fits = dataset.dtype.kind == "S" and dataset.dtype.itemsize <= layout.MAX_TEXT_BYTES
    if dataset.shape != () or not fits:
        raise RecordingFault(f"{name} is not a text")
    data = bytes(dataset[()])
    if checked and hashlib.sha256(data).hexdigest() != dataset.attrs.get(layout.SHA256):
        raise RecordingFault(f"the text {name} does not match its checksum")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise RecordingFault(f"the text {name} is not UTF-8") from None


def _attribute(group: Any, name: str) -> Any:
    value = group.attrs.get(name)
    if not isinstance(value, str):
        raise RecordingFault(f"the attribute {name} is missing")
    return value


def _whole(value: Any) -> int:
    if not isinstance(value, int | np.integer) or value < 0:
        raise RecordingFault("a count in it is not a whole number")
    return int(value)


def _table(group: Any, name: str, dtype: np.dtype[Any], width: tuple[int, ...] = ()) -> np.ndarray:
    dataset = _dataset(group, name)
    if dataset.dtype != dtype or dataset.ndim != 1 + len(width) or dataset.shape[1:] != width:
        raise RecordingFault(f"{name} has type {dataset.dtype} and shape {dataset.shape}")
    rows: np.ndarray = dataset[()]
    return rows


def _samples(raw: Any) -> np.ndarray:
    shape = _dataset(raw, "counts").shape
    if len(shape) != 2 or not 1 <= shape[1] <= layout.MAX_CELLS:
        raise RecordingFault(f"counts has the shape {shape}")
    dtype = sample_dtype(shape[1])
    columns = {
        name: _table(raw, name, dtype[name].base, dtype[name].shape) for name in layout.RAW_FIELDS
    }
    samples = np.zeros(min(map(len, columns.values())), dtype=dtype)
    for name, column in columns.items():
        samples[name] = column[: len(samples)]
    return samples


def _result(entry: Any) -> str:
    if layout.RESULT not in entry:
        return ""
    return _text(_group(entry, layout.RESULT), layout.JSON, checked=True)


def _history(group: Any) -> tuple[tuple[str, dict[str, np.ndarray]], ...]:
    changes = []
    for name in sorted(group):
        change = _group(group, name)
        data = {inert(key): change[key][()] for key in change if key != layout.JSON}
        changes.append((_text(change, layout.JSON, checked=True), data))
    return tuple(changes)


# -- what is good ------------------------------------------------------------------------------


def good_commits(contents: Contents) -> np.ndarray:
    """Return a bool per commit: whether the rows it added are all there and match its checksums.

    Raises RecordingFault where the commits themselves make no sense (a count that falls).
    """
    rows = contents.commits["rows"].astype(np.int64)
    events = contents.commits["events"].astype(np.int64)
    starts = np.concatenate([[0], rows[:-1]]), np.concatenate([[0], events[:-1]])
    if np.any(rows < starts[0]) or np.any(events < starts[1]):
        raise RecordingFault("its commits run backwards")
    return np.array(
        [
            _matches(contents.samples, int(starts[0][n]), int(rows[n]), commit["rows_crc32"])
            and _matches(contents.events, int(starts[1][n]), int(events[n]), commit["events_crc32"])
            for n, commit in enumerate(contents.commits)
        ],
        dtype=bool,
    )


def _matches(table: np.ndarray, start: int, end: int, crc: int) -> bool:
    return end <= len(table) and zlib.crc32(table[start:end].tobytes()) == int(crc)
