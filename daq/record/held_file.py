"""A file whose writes reach the disk only at a commit, all that lengthen it first.

The HDF5 library cannot bear a failing write: it raises at flush, again at close, and crashes the
interpreter at exit. Here it writes into memory and never sees a failure. A commit then lengthens
the file, and only if that worked changes what was there: a full disk leaves exactly the commit
before, and a kill finds the file half-written for microseconds instead of the length of a flush.
"""

import io
import os
from collections.abc import Iterable

PAGE = 4096
_BLOCK = 1 << 20


class HeldFile:
    """A file-like object for h5py's file-object driver. Not thread-safe: one writer."""

    def __init__(self, raw: io.FileIO) -> None:
        self._raw = raw
        self._on_disk = self._size = raw.seek(0, os.SEEK_END)
        self._at = 0
        self._pages: dict[int, bytearray] = {}
        self._committed: dict[int, bytearray] = {}  # by the last commit: HDF5 comes back to them

    # -- what the HDF5 library calls ---------------------------------------------------------

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Move the position, as files do."""
        start = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._size}[whence]
        self._at = start + offset
        return self._at

    def tell(self) -> int:
        """Return the position."""
        return self._at

    def read(self, size: int) -> bytes:
        """Return ``size`` bytes from the position on, as ``readinto`` gives them."""
        data = bytearray(size)
        self.readinto(memoryview(data))
        return bytes(data)

    def readinto(self, target: memoryview) -> int:
        """Fill ``target`` from the held pages and the disk; zeros past the end of what is there."""
        view = memoryview(target).cast("B")
        done = 0
        while done < len(view):
            number, start = divmod(self._at, PAGE)
            piece = self._page(number)[start : start + len(view) - done]
            view[done : done + len(piece)] = piece
            done += len(piece)
            self._at += len(piece)
        return done

    def write(self, data: bytes | memoryview) -> int:
        """Hold ``data`` until the next commit."""
        view = memoryview(data).cast("B")
        number, start = divmod(self._at, PAGE)
        done, end = 0, len(view)
        while done < end:
            part = view[done : done + PAGE - start]
            if len(part) == PAGE:
                self._pages[number] = bytearray(part)  # whatever was there is gone: no need to look
            else:
                page = self._pages[number] = self._page(number)
                page[start : start + len(part)] = part
            done += len(part)
            number, start = number + 1, 0
        self._at += end
        if end:
            self._size = max(self._size, self._at)
        return end

    def truncate(self, size: int | None = None) -> int:
        """Set the length the file will have after the next commit."""
        self._size = self._at if size is None else size
        return self._size

    def flush(self) -> None:
        """Do nothing: only ``commit`` writes."""

    def _page(self, number: int) -> bytearray:
        known = self._pages.get(number) or self._committed.get(number)
        if known is not None:
            return known
        page = bytearray(PAGE)
        if number * PAGE < self._on_disk and not self._raw.closed:
            self._raw.seek(number * PAGE)
            self._raw.readinto(page)
        return page

    # -- what the recording calls ------------------------------------------------------------

    @property
    def size(self) -> int:
        """The length the file will have after the next commit."""
        return self._size

    def move(self, raw: io.FileIO) -> None:
        """Go on in a copy of the file, which holds what was committed. The old one is closed.

        Raises OSError; the old one is gone on with then.
        """
        self._raw.seek(0)
        while data := self._raw.read(_BLOCK):
            _write_all(raw, data)
        self._raw.close()
        self._raw = raw

    def commit(self, sync: bool) -> None:
        """Write all held pages; with ``sync``, have the system put them on the disk as well.

        Raises OSError. If the file could not be lengthened it is cut back to what it was, and
        nothing in it was changed.
        """
        runs = _runs(sorted(self._pages))
        try:
            self._write(runs, self._on_disk, self._size)
        except OSError:
            self._raw.truncate(self._on_disk)
            raise
        # A kill may come between any two pages: first where the file says it ends, then from its
        # end to its front, as what points to something stands before it.
        self._write(runs, 0, min(self._on_disk, PAGE))
        self._write(reversed(runs), PAGE, self._on_disk)
        self._raw.truncate(self._size)
        self._on_disk = self._size
        self._committed, self._pages = self._pages, {}
        if sync:
            os.fsync(self._raw.fileno())

    def _write(self, runs: Iterable[tuple[int, list[int]]], begin: int, end: int) -> None:
        """Write what the pages of ``runs`` hold of the bytes from ``begin`` to ``end``."""
        for first, run in runs:
            start = first * PAGE
            if start >= end or start + len(run) * PAGE <= begin:
                continue
            data = b"".join(self._pages[n] for n in run)[: max(0, end - start)]
            data = data[max(0, begin - start) :]
            self._raw.seek(max(begin, start))
            _write_all(self._raw, data)

    def close(self) -> None:
        """Close the file; what was not committed is dropped."""
        self._raw.close()


def _write_all(raw: io.FileIO, data: bytes) -> None:
    while data:  # a full disk takes a part first, and says why at the next attempt
        data = data[raw.write(data) :]


def _runs(numbers: Iterable[int]) -> list[tuple[int, list[int]]]:
    """Return ascending page numbers as runs of neighbours: (first, all)."""
    runs: list[tuple[int, list[int]]] = []
    for number in numbers:
        if runs and number == runs[-1][1][-1] + 1:
            runs[-1][1].append(number)
        else:
            runs.append((number, [number]))
    return runs
