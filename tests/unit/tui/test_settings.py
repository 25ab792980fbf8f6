"""The settings file: what is written is read back, what is wrong is named."""

import pytest

from daq.faults import InputFault
from tui.settings import MUTABLE, Settings, read_settings, write_settings


def test_no_file_means_the_usual(tmp_path):
    assert read_settings(tmp_path / "none.toml") == Settings()


def test_what_is_written_is_read_back(tmp_path):
    path = tmp_path / "deep" / "console.toml"
    chosen = Settings("lbf", "light", ("near", "pace"), ("play", "-q"), 300.0, 120.0)
    write_settings(path, chosen)
    assert read_settings(path) == chosen


def test_comments_of_a_person_stay(tmp_path):
    path = tmp_path / "console.toml"
    path.write_text('# my bench\nunit = "N"  # as in class\n', encoding="utf-8")
    write_settings(path, Settings(unit="kgf"))
    text = path.read_text(encoding="utf-8")
    assert "# my bench" in text and "# as in class" in text
    assert read_settings(path).unit == "kgf"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ('unit = "stone"', "unit"),
        ('theme = "pink"', "theme"),
        ('muted = ["stop"]', "muted"),
        ('muted = "pace"', "muted"),
        ("player = [1]", "player"),
        ("time_s = 1", "time_s"),
        ("time_s = true", "time_s"),
        ("within_s = 1e9", "within_s"),
        ('colour = "red"', "colour"),
    ],
)
def test_what_is_wrong_is_named(tmp_path, text, key):
    path = tmp_path / "console.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFault) as told:
        read_settings(path)
    assert str(path) in str(told.value) and key in str(told.value)


def test_no_toml_is_said(tmp_path):
    path = tmp_path / "console.toml"
    path.write_text("unit = ", encoding="utf-8")
    with pytest.raises(InputFault, match="cannot be read"):
        read_settings(path)


def test_the_stop_cannot_be_muted():
    assert "stop" not in {str(cue) for cue in MUTABLE}
