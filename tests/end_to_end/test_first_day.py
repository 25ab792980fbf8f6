"""docs/first_day.md followed word by word: commands run, the rig file changed, the output seen.

Blocks: ``sh`` is run, ``sh board`` runs beside what follows, ``sh screen`` wants a person and is
left out, ``toml`` is a change of rig.toml, ``text`` is what the ``sh`` block before it must have
printed. A number stands for any number (they differ from run to run); words and order must agree.
"""

import io
import os
import re
import shlex
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from tui.cli import main

TREE = Path(__file__).resolve().parents[2]
PAGE = TREE / "docs/first_day.md"
PULLSTAND = [sys.executable, "-P", "-m", "tui"]
SPEED = "160"
WEIGHTS_SPEED = "60"  # they do not wait for a busy machine to take their points
DEADLINE_S = 60.0
WITH_A_BOARD = {"pull", "calibrate"}
NUMBER = re.compile(r"\b[0-9a-f]{12}\b|[-+]?\d[\dT.:]*")  # a fingerprint, or any other
BAR = re.compile(r"[█▏▎▍▌▋▊▉·]+")  # as long as its number

pytestmark = pytest.mark.slow


def blocks(text):
    """(kind, content) of each fenced block, in order."""
    return re.findall(r"^```([a-z ]+)\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def commands(content):
    return [shlex.split(line) for line in content.replace("\\\n", " ").splitlines() if line]


def faster(words):
    speed = WEIGHTS_SPEED if "weights" in words else SPEED
    return [
        speed if before == "--speed" else word
        for before, word in zip(["", *words], words, strict=False)
    ]


def change(rig, content):
    """Set a key of a section, in its place or below the head of the section."""
    head, line = content.strip().splitlines()
    before, found, section = rig.read_text("utf-8").partition(head + "\n")
    assert found, head
    key = line.split(" = ")[0]
    section, changed = re.subn(rf"^{key} = .*$", line, section, count=1, flags=re.MULTILINE)
    rig.write_text(before + head + "\n" + ("" if changed else line + "\n") + section, "utf-8")


def plain(line):
    """A line without its numbers, bars and spacing: what must be the same each time."""
    return " ".join(BAR.sub("", NUMBER.sub("#", line)).split())


def unseen(expected, output):
    """The lines of a ``text`` block that the output lacks, in their order."""
    lines = iter([plain(line) for line in output.splitlines()])
    missing = []
    for line in expected.splitlines():
        start = plain(line).removesuffix("...").strip()
        whole = not line.strip().endswith("...")
        if start and not any(seen == start if whole else seen.startswith(start) for seen in lines):
            missing.append(line)
            break
    return missing


class Day:
    """The folder of the day, and the board that is on its port."""

    def __init__(self, folder):
        self.folder, self.board = folder, None

    def start_board(self, words):
        self.stop_board()
        arguments = faster(words)[1:]
        self.board = subprocess.Popen(
            [*PULLSTAND, *arguments],
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
            text=True,
        )
        assert self.board.stdout.readline().strip(), words  # the port: it is there now

    def stop_board(self):
        if self.board is not None:
            self.board.terminate()
            self.board.communicate(timeout=DEADLINE_S)
            self.board = None

    def run_here(self, words):
        """Run a command that needs no board in this process: the libraries are loaded once."""
        seen = io.StringIO()
        with redirect_stdout(seen), redirect_stderr(seen):
            assert main(words) in (0, 2), seen.getvalue()
        return seen.getvalue()

    def run(self, words):
        """Run one command and return what a person sees of it."""
        if words[0] == "cp":
            (self.folder / words[2]).write_bytes((self.folder / words[1]).read_bytes())
            return ""
        assert words[0] == "pullstand", words
        if words[1] not in WITH_A_BOARD:
            return self.run_here(words[1:])
        done = subprocess.run(
            [*PULLSTAND, *words[1:]],
            cwd=self.folder,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,  # as a terminal shows them
            text=True,
            encoding="utf-8",
            timeout=DEADLINE_S,
            check=False,
        )
        assert "Traceback" not in done.stdout
        assert done.returncode in (0, 2, 3, 4), done.stdout
        return done.stdout


@pytest.fixture
def day(tmp_path, monkeypatch):
    (tmp_path / "simulators").symlink_to(TREE / "simulators")
    (tmp_path / "recordings").symlink_to(TREE / "recordings")
    (tmp_path / "first-day").mkdir()
    monkeypatch.chdir(tmp_path / "first-day")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "24")
    day = Day(tmp_path / "first-day")
    yield day
    day.stop_board()


def test_every_step_works_as_written(day):
    output = ""
    for kind, content in blocks(PAGE.read_text("utf-8")):
        if kind == "sh":
            output = "".join(day.run(words) for words in commands(content))
        elif kind == "sh board":
            (words,) = commands(content)
            day.start_board(words)
        elif kind == "toml":
            change(day.folder / "rig.toml", content)
        elif kind == "text":
            assert unseen(content, output) == [], output
        else:
            assert kind == "sh screen"
    assert (day.folder / "report.html").stat().st_size > 50_000
    assert len(list((day.folder / "pulls").glob("*.h5"))) == 4


def test_the_page_would_be_found_out():
    """The comparison can fail: another word, another order, a line too many."""
    seen = "Stop 6.20 kN, allowed 6.21 kN: it stands.\nwritten: cal.json\n"
    assert unseen("...\nStop 5.00 kN, allowed 1.00 kN: it stands.\nwritten: cal.json", seen) == []
    assert unseen("Stop 6.20 kN, allowed 6.21 kN: it falls.", seen)
    assert unseen("written: cal.json\nStop 6.20 kN, allowed 6.21 kN: it stands.", seen)
    assert unseen("written: cal.json\nwritten: cal.json", seen)
    assert unseen("Stop 6.20 kN ...", seen) == []


def test_links_of_readme_and_docs_lead_somewhere():
    missing = {
        str((page.parent / target).resolve().relative_to(TREE))
        for page in (TREE / "README.md", *(TREE / "docs").rglob("*.md"))
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8"))
        if not (page.parent / target).exists()
    }
    assert missing == set()
