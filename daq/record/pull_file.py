"""The writing edge: one file per pull, made complete before the first sample, committed often.

The file is a plain HDF5 file at every commit. The rows that the last line of ``/entry/commits``
counts are good; what the tables hold beyond them is not. A finished file ends in a seal.
"""

import contextlib
import errno
import os
import secrets
import shutil
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

import numpy as np

from daq.faults import RecordingFault
from daq.record import events as event_rows
from daq.record import layout, nexus
from daq.record.events import Event
from daq.record.header import RunHeader, ZeroRecord
from daq.record.held_file import HeldFile
from daq.record.inert_text import error_words, file_stem, inert
from daq.record.metadata import empty_file, texts, write_change, write_result
from daq.record.seal import add_seal
from daq.samples import FloatArray, sample_dtype
from daq.wall_anchor import HOST_CLOCK, Clock

#: Below this much free room a recording must be ended while it still can be.
FLOOR_BYTES = 20_000_000
_NAMES_TRIED = 100
_FORCE_BLOCK = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class Forces:
    """The derived force of a whole pull, each of shape (n,): s since the first sample, and N."""

    time_s: FloatArray
    at_cells_n: FloatArray
    at_specimen_n: FloatArray


def disk_free_bytes(folder: Path) -> int:
    """Return the room left in ``folder``. Raises RecordingFault where it cannot be asked."""
    try:
        return shutil.disk_usage(folder).free
    except OSError as error:
        raise RecordingFault(
            f"The room left in {folder} cannot be asked ({error_words(error)}). "
            "Choose a folder that exists and may be written."
        ) from None


def check_room(folder: Path) -> None:
    """Raise RecordingFault where the room left in ``folder`` is too little to begin a recording."""
    free = disk_free_bytes(folder)
    if free < FLOOR_BYTES:
        raise RecordingFault(
            f"Only {free / 1e6:.1f} MB are left in {folder}; a recording needs "
            f"{FLOOR_BYTES / 1e6:.0f} MB. Make room, or choose another folder with --out."
        )


class PullFile:
    """A recording that is being written. One thread only; ended by ``finish`` or ``abort``.

    Every method raises RecordingFault, in words, when the disk or the folder fails. After such a
    fault the file holds the last commit and nothing more can be written to it.
    """

    def __init__(self, path: Path, header: RunHeader, clock: Clock = HOST_CLOCK) -> None:
        """Open the file that ``publish`` made of the header's image."""
        import h5py

        self.path = path
        self._clock = clock
        self.rows = 0  # samples committed
        self._fault = ""
        self._named = False  # on the disk, too
        self._raw: Any = path.open("r+b", buffering=0)
        self._held = HeldFile(self._raw)
        self._copy: Path | None = None  # to be named as the file when the pull has ended
        self._waiting: list[np.ndarray] = []
        self._new_events: list[Event] = []
        self._events = 0
        self._events_not_kept = 0
        self._dtype = sample_dtype(len(header.cells))
        self._file = h5py.File(self._held, "r+")
        self._entry = self._file[layout.ENTRY]
        self._raw_tables = {name: self._entry[layout.RAW][name] for name in layout.RAW_FIELDS}
        self._event_table = self._entry[layout.EVENTS]
        self._commit_table = self._entry[layout.COMMITS]

    @classmethod
    def create(cls, folder: Path, header: RunHeader, cells: int, clock: Clock = HOST_CLOCK) -> Self:
        """Make a new file in ``folder`` (made too, if missing) with all metadata.

        ``cells`` is the number of channels of the samples to come. No file is ever overwritten: a
        taken name gets a number behind it. `sync` puts it on the disk.
        """
        if cells != len(header.cells):
            raise RecordingFault(
                f"The samples have {cells} channels, the header names {len(header.cells)} cells."
            )
        try:
            folder.mkdir(parents=True, exist_ok=True)
            check_room(folder)
            return cls(_new_file(folder, header), header, clock)
        except OSError as error:
            raise RecordingFault(
                f"No recording can be made in {folder} ({error_words(error)}). "
                "Choose a folder that may be written."
            ) from None

    def append(self, samples: np.ndarray) -> None:
        """Take a block of samples (structured, ``sample_dtype``); the next commit writes them."""
        if samples.dtype != self._dtype:
            raise RecordingFault(f"Samples of {samples.dtype} do not belong in {self.path.name}.")
        if len(samples):
            self._waiting.append(samples)

    def event(self, event: Event) -> None:
        """Take an event; the next commit writes it. Beyond a limit events are only counted."""
        if self._events + len(self._new_events) < layout.MAX_EVENTS:
            self._new_events.append(event)
        else:
            self._events_not_kept += 1

    def commit(self, sync: bool = False) -> int:
        """Write what came since the last commit; return the rows the file now holds for good.

        With ``sync`` the system is asked to put it on the disk itself (what power loss spares).
        """
        with self._in_words():
            rows = self._write_new()
            self._file.flush()
            self._held.commit(sync)
            self.rows = rows
        if sync:
            self.must_exist()
        return self.rows

    def sync(self) -> None:
        """Have the system put on the disk what is committed. Raises RecordingFault.

        Any thread may ask: a busy disk takes seconds for it, and commits go on meanwhile.
        """
        try:
            handle = os.dup(self._raw.fileno())
        except ValueError:
            return  # closed meanwhile, which put everything on the disk
        except OSError as error:
            if error.errno == errno.EBADF:
                return  # the same, a moment earlier
            raise RecordingFault(self._stopped(error)) from None
        try:
            os.fsync(handle)
        except OSError as error:
            raise RecordingFault(self._stopped(error)) from None
        finally:
            os.close(handle)
        if not self._named:
            _sync_folder(self.path.parent)
            self._named = True

    @property
    def size(self) -> int:
        """The length of the file, in bytes; ending it needs more than that again for a moment."""
        return self._held.size

    def must_exist(self) -> None:
        """Raise RecordingFault if somebody deleted the file: the system would let us write on."""
        with self._in_words():
            links = os.fstat(self._raw.fileno()).st_nlink
        if links == 0:
            self._let_go()
            self._fault = (
                f"Recording {self.path.name} was deleted while it was being written, and its "
                "samples with it. Keep other programs out of the folder, then pull again."
            )
            raise RecordingFault(self._fault)

    def _write_new(self) -> int:
        if not self._waiting and not self._new_events:
            return self.rows
        samples = np.concatenate(self._waiting) if self._waiting else np.empty(0, self._dtype)
        rows = event_rows.to_rows(self._new_events)
        if len(samples):
            for name in layout.RAW_FIELDS:
                nexus.extend(self._raw_tables[name], samples[name])
        if len(rows):
            nexus.extend(self._event_table, rows)
        total = self.rows + len(samples)
        self._events += len(rows)
        commit = np.zeros(1, dtype=layout.COMMIT_DTYPE)
        commit["rows"], commit["events"] = total, self._events
        commit["host_ns"] = self._clock.monotonic_ns()
        commit["rows_crc32"] = zlib.crc32(samples.data)
        commit["events_crc32"] = zlib.crc32(rows.tobytes())
        nexus.extend(self._commit_table, commit)
        self._waiting.clear()
        self._new_events.clear()
        return total

    def finish(
        self, result: Mapping[str, Any], zero_after: ZeroRecord | None, forces: Forces | None
    ) -> Path:
        """Write result, closing zero and derived force; mark as finished, seal and close."""
        self.commit(sync=True)
        with self._in_words():
            self._go_on_beside()
            write_result(self._entry, dict(result), zero_after)
            self._file.flush()
            self._held.commit(sync=False)
            if forces is not None and len(forces.time_s):
                self._write_forces(forces)
            self._end(layout.FINISHED, "")
        return self.path

    def abort(self, reason: str) -> Path:
        """End without a result: keep every sample, write down why, seal and close the file.

        After a fault of the disk this does nothing: the file holds the last commit, cut short.
        """
        if self._fault:
            return self.path
        self.commit(sync=True)
        with self._in_words():
            self._go_on_beside()
            self._end(layout.ABORTED, inert(reason, 500))
        return self.path

    def end_recovered(
        self,
        result: Mapping[str, Any],
        zero_after: ZeroRecord | None,
        history: Sequence[tuple[str, Mapping[str, np.ndarray]]],
        reason: str,
    ) -> None:
        """End a copy of a damaged recording: with what else was recovered, marked as such."""
        self.commit(sync=False)
        with self._in_words():
            if result or zero_after is not None:
                write_result(self._entry, dict(result), zero_after)
            for text, data in history:
                write_change(self._entry, text, data)
            self._end(layout.RECOVERED, inert(reason, 500))

    def _go_on_beside(self) -> None:
        """Go on in a copy beside the file: a kill in the midst of new groups leaves no plain HDF5.

        Until the copy is whole and takes the name, the file stays as the last commit left it. Where
        no copy can be made (the folder has another name by now, say) it is ended in its own place.
        """
        copy = _fresh_name(self.path)
        try:
            with contextlib.ExitStack() as undo:
                raw = undo.enter_context(copy.open("x+b", buffering=0))
                undo.callback(copy.unlink)
                self._held.move(raw)
                undo.pop_all()
        except OSError:
            return
        self._raw, self._copy = raw, copy

    def _write_forces(self, forces: Forces) -> None:
        group = nexus.add_group(self._entry, layout.FORCE, layout.CLASSES[layout.FORCE])
        for name in layout.FORCE_FIELDS:
            table = nexus.add_table(group, name, (), "<f8", layout.ROWS_PER_CHUNK)
            table.attrs["units"] = layout.FORCE_UNITS[name]
            values = getattr(forces, name)
            for start in range(0, len(values), _FORCE_BLOCK):
                nexus.extend(table, values[start : start + _FORCE_BLOCK])
                self._file.flush()
                self._held.commit(sync=False)
        group.attrs["signal"] = "at_specimen_n"
        group.attrs["auxiliary_signals"] = texts("at_cells_n")
        group.attrs["axes"] = texts("time_s")
        self._entry.attrs["default"] = layout.FORCE

    def _end(self, state: str, reason: str) -> None:
        nexus.add_text(self._entry, "end_time", self._clock.wall().isoformat())
        self._entry.attrs[layout.EVENTS_NOT_KEPT] = self._events_not_kept
        self._entry.attrs[layout.ENDED_BECAUSE] = reason
        self._entry.attrs[layout.STATE] = state
        self._file.close()
        self._held.commit(sync=False)
        add_seal(self._raw)  # and puts all of it on the disk
        self._raw.close()
        if self._copy is not None:
            self._copy.replace(self.path)
            _sync_folder(self.path.parent)

    @contextlib.contextmanager
    def _in_words(self) -> Any:
        """Turn what h5py and the system raise into words, and let go of the file."""
        if self._fault:
            raise RecordingFault(self._fault)
        try:
            yield
        except (OSError, RuntimeError, ValueError) as error:
            self._let_go()
            self._fault = self._stopped(error)
            raise RecordingFault(self._fault) from error

    def _stopped(self, error: Exception) -> str:
        return (
            f"Recording {self.path.name} stopped: {error_words(error)}. The {self.rows} "
            "samples committed before are in the file. Make room, or mend the disk, before "
            "the next pull."
        )

    def _let_go(self) -> None:
        with contextlib.suppress(OSError, RuntimeError, ValueError):
            self._file.close()  # into memory: the held file drops it
        with contextlib.suppress(OSError):
            self._raw.close()
        if self._copy is not None:
            with contextlib.suppress(OSError):
                self._copy.unlink()


def _new_file(folder: Path, header: RunHeader) -> Path:
    stem = file_stem(header.started_at, header.pull_number, header.label)
    image = empty_file(header)
    for number in range(1, _NAMES_TRIED):
        tail = "" if number == 1 else f"-{number}"
        path = folder / f"{stem}{tail}{layout.SUFFIX}"
        with contextlib.suppress(FileExistsError):
            publish(path, image, sync=False)
            return path
    raise RecordingFault(f"Every name like {stem}{layout.SUFFIX} is taken in {folder}.")


def publish(path: Path, image: bytes, sync: bool = True) -> None:
    """Make a new file that holds ``image`` from the moment its name is there.

    With ``sync`` it is on the disk then, too. Raises FileExistsError, and OSError for whatever
    else the system refuses.
    """
    fresh = _fresh_name(path)
    try:
        with fresh.open("xb") as file:
            file.write(image)
            file.flush()
            if sync:
                os.fsync(file.fileno())
        _give_name(fresh, path, image)
    finally:
        with contextlib.suppress(OSError):
            fresh.unlink()
    if sync:
        _sync_folder(path.parent)


def _fresh_name(path: Path) -> Path:
    return path.with_name(f".{path.name}.new-{secrets.token_hex(4)}")


def _give_name(fresh: Path, path: Path, image: bytes) -> None:
    """Name the fresh file, never in the place of another."""
    try:
        if os.name == "nt":
            fresh.rename(path)  # refused there where the name is taken
        else:
            path.hardlink_to(fresh)
    except FileExistsError:
        raise
    except OSError:  # a file system without links, as on many memory sticks
        with path.open("xb") as file:
            file.write(image)


def _sync_folder(folder: Path) -> None:
    """Put the new name on the disk too, where a folder can be opened for that."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
