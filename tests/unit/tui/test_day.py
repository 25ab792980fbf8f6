"""The pulls of a folder, read by a process of its own."""

import shutil
import time
from pathlib import Path

import numpy as np
import pytest

from analysis.campaign import load_results
from tui.child import Child
from tui.day import Day

DEMO = Path(__file__).parents[3] / "recordings" / "demo"
DEADLINE_S = 60.0


def read(day):
    """Let the day read its folder to the end."""
    day.read()
    ends = time.monotonic() + DEADLINE_S
    while day.reading:
        assert time.monotonic() < ends
        day.look()
        time.sleep(0.01)


@pytest.fixture
def folder(tmp_path):
    for path in sorted(DEMO.glob("*-B-0[12].h5")):
        shutil.copy(path, tmp_path)
    (tmp_path / "zz.h5").write_bytes(b"no recording")
    return tmp_path


def test_the_day_is_what_reduction_says(folder):
    day = Day(folder)
    read(day)
    *good, broken = day.pulls
    results = load_results([pull.file for pull in good])
    assert [pull.maximum_n for pull in good] == [result.max_force_n for result in results]
    assert [pull.label for pull in good] == [result.specimen["label"] for result in results]
    for pull in good:
        assert np.nanmax(pull.curve.greatest_n) == pytest.approx(pull.maximum_n, rel=1e-9)
    assert "zz.h5" in broken.refused and not broken.kind


def test_no_folder_reads_nothing():
    day = Day(None)
    day.read()
    assert not day.reading and not day.look()


def test_leaving_ends_the_reader(folder):
    day = Day(folder)
    day.read()
    day.close()
    assert not day.reading


def test_a_defect_of_the_reader_is_said(folder, monkeypatch):
    monkeypatch.setattr("tui.day.READER", "tui.no_such_module")
    day = Day(folder)
    read(day)
    assert "could not be read" in day.trouble


def test_a_child_is_ended_when_it_is_left():
    child = Child("tui.listening", "/dev/null-no-port", "9600", "60")
    child.close()
    assert child._process.poll() is not None
    assert not child._file.exists()
