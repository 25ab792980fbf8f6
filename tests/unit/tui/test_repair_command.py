"""pullstand repair on a folder: every recording is looked at, what is not whole is copied."""

import json
import shutil
from pathlib import Path

import pytest

from daq.record.reader import read_recording
from tui.cli import main

HERE = Path(__file__)
DEMO = next(up for up in HERE.parents if (up / "recordings/demo").is_dir()) / "recordings/demo"


@pytest.fixture
def folder(tmp_path):
    """Three recordings: a whole one, one that was cut off, one that is nothing of ours."""
    place = tmp_path / "pulls"
    place.mkdir()
    first, second = sorted(DEMO.glob("*.h5"))[:2]
    shutil.copy(first, place / "a.h5")
    data = second.read_bytes()
    (place / "b.h5").write_bytes(data[: len(data) * 98 // 100])
    (place / "c.h5").write_text("shopping list")
    return place


def test_each_file_is_told_and_counted(folder, capsys):
    assert main(["repair", str(folder)]) == 5  # of one nothing can be had
    out = capsys.readouterr().out
    assert "a.h5: whole:" in out
    assert "nothing lost" in out
    assert "c.h5: unreadable: 0 samples recovered" in out
    assert "1 of 3 recordings are whole." in out


def test_json_is_a_list_of_what_one_file_gives(folder, capsys):
    main(["repair", str(folder), "--json"])
    documents = json.loads(capsys.readouterr().out)
    assert [Path(each["file"]).name for each in documents] == ["a.h5", "b.h5", "c.h5"]
    main(["repair", str(folder / "a.h5"), "--json"])
    assert json.loads(capsys.readouterr().out) == documents[0]


def test_copies_go_into_a_new_folder_and_only_of_what_is_not_whole(folder, tmp_path, capsys):
    out = tmp_path / "mended"
    main(["repair", str(folder), "-o", str(out), "--json"])
    documents = json.loads(capsys.readouterr().out)
    had = {Path(each["file"]).name: each["recovered_samples"] for each in documents}
    (copy,) = out.iterdir()
    assert copy.name == "b.h5"
    assert len(read_recording(copy).samples) == had["b.h5"] > 1000
    assert [each["copy"] for each in documents] == [None, str(copy), None]
    assert main(["repair", str(folder), "-o", str(out)]) == 2
    assert "name a new folder" in capsys.readouterr().err


def test_an_empty_folder_is_told(tmp_path, capsys):
    assert main(["repair", str(tmp_path)]) == 2
    assert "holds no recordings" in capsys.readouterr().err
