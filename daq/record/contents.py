"""Reading the parts of a file, with suspicion: nothing is followed, nothing large is believed.

Only plain tables and texts inside the file itself are read. Links to elsewhere, virtual or external
data, references, filters, unexpected types and shapes that the file's size cannot hold are refused
before anything is allocated for them.
"""

import contextlib
import hashlib
import zlib
from collections.abc import Callable, Iterator
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


def open_contents(path: Path, sealed: bool) -> Contents:
    """Read the file at ``path``. Raises RecordingFault, also for what h5py raises.

    A ``sealed`` file is what this program wrote; any other is walked whole before it is read.
    """
    import h5py

    size = path.stat().st_size
    with in_words(), h5py.File(path, "r", locking="best-effort") as file:
        if not sealed:
            refuse_strangers(file, size)
        return read_contents(file, size)


@contextlib.contextmanager
def in_words() -> Iterator[None]:
    """Turn whatever h5py raises on a damaged file into a RecordingFault."""
    try:
        yield
    except (RecordingFault, MemoryError):
        raise
    except Exception as error:
        raise RecordingFault(f"the HDF5 inside is damaged ({error_words(error)})") from None


def read_contents(file: Any, size: int, salvage: bool = False) -> Contents:
    """Read an open file whose data are ``size`` bytes. Raises RecordingFault.

    With ``salvage`` a damaged result or history is left out instead.
    """
    entry = _Checked(file["/"].id, size).group(layout.ENTRY)
    if entry.text("definition") != layout.FORMAT_NAME:
        raise RecordingFault("it is an HDF5 file, but not a recording of this program")
    version = entry.text("definition_version")
    if version != str(layout.FORMAT_VERSION):
        raise RecordingFault(
            f"its format version is {inert(version, 20)}, "
            f"this program reads {layout.FORMAT_VERSION}"
        )
    state = entry.attribute(layout.STATE)
    if state not in layout.STATES:
        raise RecordingFault(f"its state {inert(state, 40)!r} is unknown")
    return Contents(
        header_json=entry.text(layout.HEADER, checked=True),
        samples=_samples(entry.group(layout.RAW)),
        events=entry.table(layout.EVENTS, layout.EVENT_DTYPE),
        commits=entry.table(layout.COMMITS, layout.COMMIT_DTYPE),
        state=state,
        ended_because=inert(entry.attribute(layout.ENDED_BECAUSE), 600),
        events_not_kept=entry.count(layout.EVENTS_NOT_KEPT),
        result_json=_or_nothing(_result, entry, "", salvage),
        history=_or_nothing(_history, entry, (), salvage),
    )


# -- what is refused ---------------------------------------------------------------------------


def refuse_strangers(file: Any, size: int) -> None:
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

    plist, kind = dataset.get_create_plist(), dataset.get_type()
    if plist.get_layout() == h5py.h5d.VIRTUAL or plist.get_external_count():
        raise RecordingFault("it takes data from other files, which is never followed")
    if plist.get_nfilters():
        raise RecordingFault("its data are filtered or compressed, which this program never does")
    if not _is_plain(kind):
        raise RecordingFault("it holds references or data of a kind this program never writes")
    if dataset.get_space().get_simple_extent_npoints() * kind.get_size() > size:
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


class _Checked:
    """A group whose members are looked at before they are opened or read.

    By the library's own calls: a folder of a thousand pulls opens sixteen thousand members.
    """

    def __init__(self, group: Any, size: int) -> None:
        self._id = group
        self._size = size

    def __iter__(self) -> Iterator[str]:
        return iter(sorted(name.decode("utf-8", "replace") for name in self._id))

    def __contains__(self, name: str) -> bool:
        return bool(self._id.links.exists(name.encode("utf-8")))

    def _member(self, name: str) -> Any:
        from h5py import h5l, h5o

        if name not in self:
            raise RecordingFault(f"{inert(name, 40)} is missing")
        key = name.encode("utf-8")
        if self._id.links.get_info(key).type != h5l.TYPE_HARD:
            raise RecordingFault(f"{inert(name, 40)} is a link to elsewhere: never followed")
        return h5o.open(self._id, key)

    def group(self, name: str) -> "_Checked":
        from h5py import h5g

        member = self._member(name)
        if not isinstance(member, h5g.GroupID):
            raise RecordingFault(f"{inert(name, 40)} is not a group")
        return _Checked(member, self._size)

    def dataset(self, name: str) -> Any:
        from h5py import h5d

        member = self._member(name)
        if not isinstance(member, h5d.DatasetID):
            raise RecordingFault(f"{inert(name, 40)} is not a table or a text")
        _refuse_dataset(member, self._size)
        return member

    def array(self, name: str) -> np.ndarray:
        return _read(self.dataset(name))

    def text(self, name: str, checked: bool = False) -> str:
        dataset = self.dataset(name)
        fits = dataset.dtype.kind == "S" and dataset.dtype.itemsize <= layout.MAX_TEXT_BYTES
        if dataset.shape != () or not fits:
            raise RecordingFault(f"{name} is not a text")
        data = _read(dataset).tobytes().rstrip(b"\0")
        if checked and hashlib.sha256(data).hexdigest() != _attribute(dataset, layout.SHA256):
            raise RecordingFault(f"the text {name} does not match its checksum")
        try:
            return data.decode("utf-8")
        except UnicodeDecodeError:
            raise RecordingFault(f"the text {name} is not UTF-8") from None

    def table(self, name: str, dtype: np.dtype[Any], width: tuple[int, ...] = ()) -> np.ndarray:
        dataset = self.dataset(name)
        found, shape = dataset.dtype, dataset.shape
        if found != dtype or len(shape) != 1 + len(width) or shape[1:] != width:
            raise RecordingFault(f"{name} has the type {inert(str(found), 80)} and shape {shape}")
        return _read(dataset)

    def attribute(self, name: str) -> str:
        value = _attribute(self._id, name)
        if not isinstance(value, str):
            raise RecordingFault(f"the attribute {name} is missing")
        return value

    def count(self, name: str) -> int:
        value = _attribute(self._id, name)
        if value is None:
            return 0
        if not isinstance(value, int | np.integer) or value < 0:
            raise RecordingFault(f"the attribute {name} is not a count")
        return int(value)


def _read(dataset: Any) -> np.ndarray:
    from h5py import h5s

    values = np.empty(dataset.shape, dtype=dataset.dtype)
    if values.size:
        dataset.read(h5s.ALL, h5s.ALL, values)
    return values


def _attribute(owner: Any, name: str) -> Any:
    """Return the attribute of an open group or dataset, None where it has none."""
    import h5py

    if not h5py.h5a.exists(owner, name.encode("utf-8")):
        return None
    kind = h5py.Group if isinstance(owner, h5py.h5g.GroupID) else h5py.Dataset
    return kind(owner).attrs[name]


def _samples(raw: _Checked) -> np.ndarray:
    shape = raw.dataset("counts").shape
    if len(shape) != 2 or not 1 <= shape[1] <= layout.MAX_CELLS:
        raise RecordingFault(f"counts has the shape {shape}")
    dtype = sample_dtype(shape[1])
    columns = {
        name: raw.table(name, dtype[name].base, dtype[name].shape) for name in layout.RAW_FIELDS
    }
    samples = np.zeros(min(map(len, columns.values())), dtype=dtype)
    for name, column in columns.items():
        samples[name] = column[: len(samples)]
    return samples


def _or_nothing(
    read: Callable[[_Checked], Any], entry: _Checked, nothing: Any, salvage: bool
) -> Any:
    try:
        return read(entry)
    except (RecordingFault, OSError, RuntimeError, KeyError, ValueError):
        if not salvage:
            raise
        return nothing


def _result(entry: _Checked) -> str:
    if layout.RESULT not in entry:
        return ""
    return entry.group(layout.RESULT).text(layout.JSON, checked=True)


def _history(entry: _Checked) -> tuple[tuple[str, dict[str, np.ndarray]], ...]:
    history = entry.group(layout.HISTORY)
    changes = (history.group(name) for name in history)
    return tuple((change.text(layout.JSON, checked=True), _arrays(change)) for change in changes)


def _arrays(change: _Checked) -> dict[str, np.ndarray]:
    return {inert(key): change.array(key) for key in change if key != layout.JSON}


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
