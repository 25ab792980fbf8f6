"""Help and tables must be readable in a window of 80 columns, as the console asks for no more."""

from pathlib import Path

import pytest

from tui.cli import main
from tui.commands import COMMANDS

HERE = Path(__file__)
DEMO = next(up for up in HERE.parents if (up / "recordings/demo").is_dir()) / "recordings/demo"


@pytest.fixture(autouse=True)
def eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def too_wide(text: str) -> list[str]:
    return [line for line in text.splitlines() if len(line) > 80]


@pytest.mark.parametrize("words", [[], *([name] for name in COMMANDS)])
def test_help_fits(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([*words, "--help"])
    out = capsys.readouterr().out
    assert "Usage: pullstand" in out
    assert not too_wide(out)


def test_notes_of_a_prediction_fit(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", "nail", "species=Douglas-fir", "d=8d", "l=40 mm"]) == 0
    out = capsys.readouterr().out
    assert "12.3.3A" in out
    assert not too_wide(out)


@pytest.mark.parametrize("command", [["reduce"], ["compare", "--by", "pilot_mm"]])
def test_a_filter_that_leaves_nothing_is_told(
    command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*command, str(DEMO), "--where", "series=none"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "No recording matches series=none." in told.err


def test_files_are_named_alike(capsys: pytest.CaptureFixture[str]) -> None:
    """One option, one name: what a command writes goes to -o, --output."""
    for name in ("reduce", "repair", "report", "calibrate"):
        with pytest.raises(SystemExit):
            main([name, "--help"])
        assert "-o, --output" in capsys.readouterr().out, name
