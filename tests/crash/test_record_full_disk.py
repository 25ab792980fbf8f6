"""A full disk ends a recording in words, keeps what was committed, and crashes nothing."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest

from daq.record.reader import read_recording

CHILD = Path(__file__).with_name("full_disk_child.py")
LIMITED = pytest.mark.skipif(os.name != "posix", reason="needs limits of file size")


def record_until_full(folder, limit):
    """Run the child; return the samples it says are committed, and its words."""
    command = [sys.executable, str(CHILD), str(folder), str(limit)]
    child = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (child.returncode, child.stderr) == (0, "")
    rows, words = child.stdout.split(" ", 1)
    return int(rows), words


def check(folder, rows, words):
    assert "samples committed before are in the file" in words
    (path,) = folder.glob("*.h5")
    with h5py.File(path) as plain:
        assert len(plain["entry/raw/counts"]) == rows
    samples = read_recording(path).samples
    assert len(samples) == rows > 100
    np.testing.assert_array_equal(samples["counts"][:, 1], np.arange(rows) * 3 + 1)


@LIMITED
@pytest.mark.parametrize("limit", [100_001, 131_072, 300_000])
def test_file_that_may_not_grow(tmp_path, limit):
    rows, words = record_until_full(tmp_path, limit)
    assert "File too large" in words
    check(tmp_path, rows, words)


@LIMITED
@pytest.mark.skipif(
    getattr(os, "geteuid", lambda: 1)() != 0 or shutil.which("mount") is None,
    reason="needs the right to mount a small file system",
)
def test_small_file_system(tmp_path):
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=300k", "tmpfs", str(tmp_path)],
        check=False,
        capture_output=True,
    )
    if mounted.returncode:
        pytest.skip("mounting is not allowed here")
    try:
        rows, words = record_until_full(tmp_path, 0)
        assert "No space left on device" in words
        check(tmp_path, rows, words)
    finally:
        subprocess.run(["umount", str(tmp_path)], check=True)
