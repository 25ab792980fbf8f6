import errno
import io
import random

import pytest

from daq.record.held_file import PAGE, HeldFile


class Disk(io.BytesIO):
    """A disk in memory that can be full."""

    room = 1 << 30

    def write(self, data):
        space = self.room - self.tell()
        if space <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        return super().write(data[:space])


@pytest.mark.parametrize("seed", range(20))
def test_like_any_file_however_it_is_written(seed):
    """The oracle is the standard library's in-memory file, given the same writes."""
    chance = random.Random(seed)
    disk, plain = Disk(), io.BytesIO()
    held = HeldFile(disk)
    for _ in range(200):
        place, length = chance.randrange(5 * PAGE), chance.choice([1, 8, 100, PAGE, 3 * PAGE])
        data = chance.randbytes(length)
        for file in (held, plain):
            file.seek(place)
            file.write(data)
        held.seek(place // 2)
        plain.seek(place // 2)
        assert held.read(50) == plain.read(50).ljust(50, b"\0")
        if chance.random() < 0.2:
            held.commit(sync=False)
            assert disk.getvalue() == plain.getvalue()


def test_nothing_reaches_the_disk_before_a_commit():
    disk = Disk()
    held = HeldFile(disk)
    held.write(b"abc")
    held.flush()
    assert disk.getvalue() == b""
    held.commit(sync=False)
    assert disk.getvalue() == b"abc"


@pytest.mark.parametrize("room", [5_000, 8_192, 9_000])
def test_full_disk_leaves_the_commit_before(room):
    disk = Disk()
    held = HeldFile(disk)
    held.write(b"a" * 5_000)
    held.commit(sync=False)
    disk.room = room
    held.seek(10)
    held.write(b"b" * 10)  # in place
    held.seek(4_500)
    held.write(b"c" * 20_000)  # over the end
    with pytest.raises(OSError, match="No space"):
        held.commit(sync=False)
    assert disk.getvalue() == b"a" * 5_000


def test_truncate_shortens_and_lengthens(tmp_path):
    path = tmp_path / "file"
    with path.open("x+b", buffering=0) as disk:
        held = HeldFile(disk)
        held.write(b"a" * 10_000)
        held.truncate(6_000)
        held.commit(sync=False)
        assert path.read_bytes() == b"a" * 6_000
        held.truncate(7_000)
        held.commit(sync=True)
        assert path.read_bytes() == b"a" * 6_000 + b"\0" * 1_000


class Sluggish(io.BytesIO):
    """A disk that takes a part of each write."""

    def write(self, data):
        return super().write(data[:1000])


def test_a_copy_is_whole_though_the_disk_takes_parts():
    held = HeldFile(io.BytesIO())
    held.write(bytes(range(256)) * 40)
    held.commit(sync=False)
    copy = Sluggish()
    held.move(copy)
    assert copy.getvalue() == bytes(range(256)) * 40


def test_a_copy_that_finds_no_room_leaves_the_file_in_use():
    """It is gone on with where it is."""
    disk, full = Disk(), Disk()
    full.room = PAGE
    held = HeldFile(disk)
    held.write(b"a" * 3 * PAGE)
    held.commit(sync=False)
    with pytest.raises(OSError, match="No space"):
        held.move(full)
    held.write(b"b")
    held.commit(sync=False)
    assert disk.getvalue() == b"a" * 3 * PAGE + b"b"
