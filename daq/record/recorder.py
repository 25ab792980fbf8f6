"""The recorder: takes messages in order and keeps the file. A thread of `daq.acquisition` runs it.

A fault of the disk is caught, told in words, and leaves the recorder able to try the next pull.
"""

import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from daq.faults import RecordingFault
from daq.force.force_chain import ForceChain
from daq.live_reading import Recording, RecordingState
from daq.record.events import Event
from daq.record.header import RunHeader, ZeroRecord
from daq.record.history import add_history
from daq.record.inert_text import error_words
from daq.record.pull_file import FLOOR_BYTES, PullFile, check_room, disk_free_bytes
from daq.record.pull_file import Forces as DerivedForce
from daq.specimen_list import Specimen
from daq.wire.sample_clock import fit_clock, seconds

COMMIT_NS = 150_000_000
ROOM_NS = 1_000_000_000  # how often the room left is asked
ENDING = 2  # a file is ended in a copy, which its derived force makes longer (1.7 times seen)
DISK_TOLD = "Saved whole, but look at the disk"
LOOK_NS = 2_000_000_000  # a fault stands at least so long, so that everybody sees it


@dataclass(frozen=True, slots=True, eq=False)
class Begin:
    """A pull began: make its file, with what came before it."""

    header: RunHeader
    force: ForceChain
    past: Sequence[np.ndarray]


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Samples of the pull that is on."""

    samples: np.ndarray


@dataclass(frozen=True, slots=True)
class Note:
    """Something that happened in the pull that is on."""

    event: Event


@dataclass(frozen=True, slots=True)
class End:
    """The pull ended, for ``reason``."""

    result: Mapping[str, str | float | int]
    zero_after: ZeroRecord | None
    reason: str


@dataclass(frozen=True, slots=True)
class Later:
    """A person's word on the pull that is on or the last one, or on the recording named."""

    change: Mapping[str, str]
    reason: str
    file: Path | None = None


Message = Begin | Rows | Note | End | Later


class Recorder:
    """Keeps one file at a time in ``folder``. `state` and `saved` may be read by any thread.

    Raises RecordingFault where nothing can be written: better now than under load.
    """

    def __init__(self, folder: Path, after_saved: Callable[[Specimen], None] | None = None) -> None:
        self._folder = folder
        self._after_saved = after_saved
        self._file: PullFile | None = None
        self._begun: Begin | None = None
        self._kept: list[np.ndarray] = []
        self._words: list[Later] = []
        self._last: Path | None = None  # the file of the last pull, None where it has none
        self._committed_ns = self._asked_ns = self._looked_ns = 0
        self._disk_fault: tuple[PullFile, str] | None = None  # told by `sync`, in another thread
        check_folder(folder)
        self.state = RecordingState(Recording.ARMED, disk_free_bytes=_free(folder))
        self.saved: tuple[Path, ...] = ()
        self._not_added = ""

    def prepare(self) -> None:
        """Load what makes a file while nothing pulls: it takes 0.1 s, from a slow disk seconds."""
        import h5py  # noqa: F401

    def sync(self) -> None:
        """Have the system put the open file on the disk.

        For a thread of its own, about once a second: where another program keeps the disk busy it
        takes seconds, in which the samples that came would be in no file.
        """
        file = self._file
        try:
            if file is not None:
                file.sync()
        except RecordingFault as fault:
            self._disk_fault = None if file is None else (file, str(fault))

    def handle(self, message: Message) -> None:
        """Take one message. A fault of the disk becomes the state FAULT, never an exception."""
        try:
            self._handle(message)
        except RecordingFault as fault:
            self._fail(str(fault))

    def tick(self, now_ns: int) -> None:
        """Commit and look at the room left, each when it is due; after a fault, try again."""
        try:
            if self._file is not None and now_ns - self._committed_ns >= COMMIT_NS:
                self._commit(now_ns)
            elif self.state.state is Recording.FAULT and now_ns - self._looked_ns >= LOOK_NS:
                self._looked_ns = now_ns
                self._look_again()
        except RecordingFault as fault:
            self._fail(str(fault))

    def _look_again(self) -> None:
        with suppress(RecordingFault):
            check_folder(self._folder)
            self.state = RecordingState(Recording.ARMED, disk_free_bytes=_free(self._folder))

    def close(self) -> None:
        """End an open file as it stands."""
        if self._file is not None:
            self.handle(End({}, None, "the session was closed"))

    def _handle(self, message: Message) -> None:
        match message:
            case Begin():
                self._begin(message)
            case Rows(samples) if self._file is not None:
                self._file.append(samples)
                self._kept.append(samples)
            case Note(event) if self._file is not None:
                self._file.event(event)
            case End() if self._file is not None:
                self._end(message)
            case Later():
                self._later(message)

    def _begin(self, begin: Begin) -> None:
        self.close()
        self._last = None
        self._file = PullFile.create(self._folder, begin.header, len(begin.header.cells))
        self._begun = begin
        self._kept = list(begin.past)
        for samples in begin.past:
            self._file.append(samples)
        self._file.commit()
        self.state = RecordingState(
            Recording.WRITING, str(self._file.path), disk_free_bytes=_free(self._folder)
        )

    def _commit(self, now_ns: int) -> None:
        assert self._file is not None
        self._file.commit()
        self._committed_ns = now_ns
        if words := self._told_by_disk(self._file):
            raise RecordingFault(words)
        if now_ns - self._asked_ns < ROOM_NS:
            return
        self._asked_ns = now_ns
        self._file.must_exist()
        free = _free(self._folder)
        self.state = replace(self.state, disk_free_bytes=free)
        if free < FLOOR_BYTES + ENDING * self._file.size:
            raise RecordingFault(
                f"Only {free // 1_000_000} MB left in {self._folder}: the recording was ended "
                "while there is room. Make room, then start again."
            )

    def _end(self, end: End) -> None:
        assert self._file is not None
        assert self._begun is not None
        file = self._file
        file.finish(dict(end.result), end.zero_after, derived_force(self._begun, self._kept))
        words = self._told_by_disk(file)  # no matter: the file was written anew to be finished
        self._closed(file.path)
        if self._after_saved is not None:
            self._after_saved(self._begun.header.specimen)
        words = " ".join(
            each for each in (words and f"{DISK_TOLD}: {words}", self._not_added) if each
        )
        self.state = RecordingState(Recording.SAVED, str(file.path), words, _free(self._folder))

    def _told_by_disk(self, file: PullFile) -> str:
        """Return what `sync` was told of this file, once; of one before it, nothing."""
        told = self._disk_fault
        if told is None or told[0] is not file:
            return ""
        self._disk_fault = None
        return told[1]

    def _closed(self, path: Path) -> None:
        """A pull's file is closed: what was said meanwhile belongs to it, and to no other."""
        self._file, self._kept, self._last = None, [], path
        self.saved = (*self.saved, path)
        words, self._words = self._words, []
        self._not_added = ""
        for word in words:
            self._add(path, word)

    def _later(self, word: Later) -> None:
        if self._file is not None and word.file in (None, self._file.path):
            self._words.append(word)
            return
        file = word.file or self._last
        if file is None:
            words = "The last pull has no file: what was said of it is not kept."
            self.state = replace(self.state, message=words)
        else:
            self._add(file, word)

    def _add(self, file: Path, word: Later) -> None:
        """Add a word to a file; what cannot be added is told, and no reason to stop a pull."""
        try:
            add_history(file, dict(word.change), word.reason)
        except RecordingFault as fault:
            self._not_added = str(fault)
            self.state = replace(self.state, message=self._not_added)

    def _fail(self, words: str) -> None:
        """Keep what is on the disk, and say what happened."""
        file = self._file
        self._looked_ns = time.monotonic_ns()
        if file is not None:
            try:
                file.abort(words)
            except RecordingFault as again:
                words = f"{words} {again}"
            self._closed(file.path)
            words = f"{words} {self._not_added}".rstrip()
        name = "" if file is None else str(file.path)
        self.state = RecordingState(Recording.FAULT, name, words, _free(self._folder))


def derived_force(begun: Begin, kept: Sequence[np.ndarray]) -> DerivedForce:
    """Return time and force of a whole pull, for general viewers; counts stay the record."""
    samples = np.concatenate(list(kept))
    forces = begun.force.forces(samples["counts"])
    fit = fit_clock(samples, has_clock=begun.header.has_board_clock)
    return DerivedForce(seconds(samples, fit), forces.at_cells_n, forces.at_specimen_n)


def check_folder(folder: Path) -> None:
    """Make sure that recordings can be written to ``folder``, which is made if it is missing.

    Raises RecordingFault: no such place, no permission, read-only, hardly any room.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder) as probe:
            probe.write(b"\0" * 4096)
            probe.flush()
    except OSError as error:
        raise RecordingFault(
            f"Nothing can be recorded in {folder} ({error_words(error)}). "
            "Choose another folder with --out, or make it writable."
        ) from None
    check_room(folder)


def _free(folder: Path) -> int:
    """Return the room left where ``folder`` is, or is going to be."""
    there = next((path for path in (folder, *folder.absolute().parents) if path.exists()), folder)
    try:
        return disk_free_bytes(there)
    except RecordingFault:
        return 0
