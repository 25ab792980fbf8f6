"""The pages that describe the format say what the files hold."""

import re
from pathlib import Path

import h5py
import numpy as np
import pytest

from daq.record import layout
from daq.record.seal import LENGTH
from daq.samples import Flag

ROOT = Path(__file__).parents[4]


def test_five_lines_of_h5py_read_a_fresh_file(finished, monkeypatch, samples_at):
    text = (ROOT / "recordings" / "README.md").read_text(encoding="utf-8")
    lines = re.search(r"```python\n(.*?)```", text, re.DOTALL)[1]
    assert len([line for line in lines.splitlines() if line]) == 5
    finished.rename(finished.with_name("pull.h5"))
    monkeypatch.chdir(finished.parent)

    found = {}
    exec(lines, found)

    np.testing.assert_array_equal(found["counts"], samples_at(0, 184)["counts"])
    assert found["header"]["specimen"]["label"] == "D-07"
    found["entry"].file.close()


def test_length_of_the_seal_is_as_written():
    text = (ROOT / "recordings" / "README.md").read_text(encoding="utf-8")
    assert f"tail -c {LENGTH} " in text


@pytest.mark.parametrize("flag", Flag)
def test_flags_are_as_written(flag):
    text = (ROOT / "docs" / "recording_format.md").read_text(encoding="utf-8")
    assert re.search(rf"[| ,]{flag.value} {flag.name.lower()}", text)


def test_every_object_in_a_file_is_described(finished):
    page = (ROOT / "docs" / "recording_format.md").read_text(encoding="utf-8")
    with h5py.File(finished) as file:
        for name in file[layout.ENTRY]:
            assert f"/entry/{name}`" in page or f"`{name}`" in page
        for name, (kind, _) in file["entry/commits"].dtype.fields.items():
            assert f"`{name}` {kind.str[1:]}" in page
        for name, (kind, _) in file["entry/events"].dtype.fields.items():
            assert f"`{name}` {kind.str[1:]}" in page
        for name in layout.RAW_FIELDS:
            assert f"`/entry/raw/{name}` | {file['entry/raw'][name].dtype.str[1:]} (n" in page
