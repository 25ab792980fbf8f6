"""Text from people, files and boards that would steer a terminal, a path, a sheet or the memory.

Names and notes, specimen keys, file names, columns, TOML and board messages; what comes out is
printable, short, one sentence a problem, and stays inside the folder it belongs to.
"""

import json
import subprocess
import sys
import time

import numpy as np
import pytest

from daq.faults import Fault, InputFault
from daq.force.points_file import parse_points
from daq.force.weights import Gravity
from daq.record import header as headers
from daq.record.pull_file import PullFile
from daq.record.reader import read_recording
from daq.rig.rig_file import read_rig_text
from daq.samples import Chunk, sample_dtype
from daq.wire.decoders import make_decoder
from tui.commands.demo import demo_rig_file
from tui.live_session import parse_specimen

PULLSTAND = [sys.executable, "-P", "-m", "tui"]
TERMINAL = "\x1b]0;owned\x07\x1b[2J\x9b31m"
HOSTILE = [
    "../../../etc/passwd",
    "/etc/passwd",
    "..\\..\\windows",
    TERMINAL,
    "\u202egnp.exe",
    "[bold red]markup[/bold red][link=http://x]y[/link]",
    '=HYPERLINK("http://x","y")',
    "a\nb\rc",
    "<script>alert(1)</script>{{7*7}}%s%n",
    "\udcff\udcfe",  # what a command line in another encoding becomes
    "x" * 10_000_000,
]
IDS = ["path", "root", "backslash", "escape", "bidi", "markup", "formula", "lines", "script",
       "bytes", "10 MB"]  # fmt: skip


def printable(text: str) -> bool:
    """Whether a text steers no terminal."""
    return all(line.isprintable() for line in text.split("\n"))


def run(*words):
    """Run a command; return exit code, and what it printed in all."""
    done = subprocess.run(
        [*PULLSTAND, *map(str, words)],
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert b"Traceback" not in done.stderr
    assert b"defect" not in done.stderr
    return done.returncode, (done.stdout + done.stderr).decode()


def rig_text(**changes: str) -> str:
    """The demo rig with some of its texts exchanged."""
    text = demo_rig_file().read_text("utf-8")
    for old, new in changes.items():
        text = text.replace(f'"{old}"', json.dumps(new, ensure_ascii=True), 1)
    return text


@pytest.mark.parametrize("text", HOSTILE, ids=IDS)
def test_a_specimen_of_any_text_is_kept_inert_inside_its_folder(text, tmp_path):
    """Key and value; the file name holds letters, digits, - and _ alone."""
    specimen = parse_specimen([f"label={text}", f"note{text[:50].replace('=', '')}={text}"])
    plain = read_rig_header(specimen)
    folder = tmp_path / "pulls"
    file = PullFile.create(folder, plain, len(plain.cells))
    file.append(np.zeros(3, sample_dtype(len(plain.cells))))
    path = file.finish({}, None, None)
    assert path.parent == folder
    assert [p.name for p in tmp_path.iterdir()] == ["pulls"]
    assert path.name.isascii() and path.name.replace("-", "").replace("_", "")[:-3].isalnum()
    kept = read_recording(path).header.specimen
    assert all(printable(str(k)) and printable(str(v)) for k, v in kept.items())
    assert all(len(str(v)) <= 4_000 and len(k) <= 64 for k, v in kept.items())
    assert path.stat().st_size < 500_000
    code, words = run("reduce", path)
    assert code == 0
    assert printable(words)


def read_rig_header(specimen):
    """A run header with this specimen, made as a session makes it."""
    from daq.force.calibration import Calibration
    from daq.rig.rig_file import read_rig
    from daq.run_header import run_header
    from daq.wall_anchor import WallAnchor

    rig = read_rig(demo_rig_file())
    header = run_header(
        rig,
        Calibration.from_rig(rig),
        WallAnchor.now(),
        started_ns=0,
        pull_number=1,
        zero_before=None,
        specimen=specimen,
        session={},
        has_board_clock=True,
    )
    return headers.from_json(headers.to_json(header))


@pytest.mark.parametrize("text", HOSTILE[:-2], ids=IDS[:-2])
def test_a_rig_file_of_any_text_is_shown_inert_or_refused_in_words(text, tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text(rig_text(**{"Ossel Brook rig B": text, "bracket jaws": text}), "utf-8")
    assert printable(run("rig", "check", rig)[1])
    rig.write_text(rig_text() + f"\n{json.dumps(text)} = 1\n", "utf-8")
    code, words = run("rig", "check", rig)
    assert code == 2
    assert "unknown key" in words
    assert printable(words)


@pytest.mark.parametrize("text", [TERMINAL, "\u202ex", "y" * 5_000], ids=["escape", "bidi", "long"])
@pytest.mark.parametrize(
    "words", [("reduce", "{}"), ("simulate", "{}"), ("repair", "{}"), ("predict", "nail", "{}=1")]
)
def test_a_complaint_repeats_nothing_that_steers_a_terminal(words, text):
    code, told = run(*(word.format(text) for word in words))
    assert code not in (0, 1)
    assert printable(told)
    assert len(told) < 5_000


@pytest.mark.parametrize("text", HOSTILE[:9], ids=IDS[:9])
def test_columns_and_series_of_a_points_file(text):
    gravity = Gravity(9.81, 0.01, "usual")
    for table in (f"load_n,response,{text}\n1,2,3\n", f"load_n,response,series\n1,2,{text}\n"):
        try:
            parse_points(table, "points.csv", gravity)
        except InputFault as fault:
            assert len(str(fault)) < 2_000


EXPLOSIVE = {
    "deep arrays": "x = " + "[" * 100_000 + "]" * 100_000,
    "deep tables": "x = " + "{a=" * 50_000 + "1" + "}" * 50_000,
    "dotted key": "a" + ".a" * 200_000 + " = 1",
    "dotted header": "[" + "a." * 200_000 + "a]",
    "blanks": "a" + " " * 900_000 + "b",
    "blanks before a dot": "a ." + " " * 900_000,
    "quotes": '"' * 900_000,
    "huge array": "x = [" + "1," * 400_000 + "]",
    "many tables": "[[cell]]\n" * 100_000,
    "many keys": "\n".join(f"k{number}=1" for number in range(80_000)),
    "big number": "x = " + "9" * 900_000,
    "big quantity": rig_text(**{"200 kgf": "9" * 900_000 + " kgf"}),
    "big exponent": rig_text(**{"200 kgf": "1e999999999 kgf"}),
    "long key": rig_text() + "\n" + "k" * 900_000 + " = 1\n",
    "fences": 'a = """\n' * 50_000,
}


@pytest.mark.parametrize("name", EXPLOSIVE)
def test_toml_that_explodes_is_refused_soon_and_shortly(name):
    begin = time.monotonic()
    with pytest.raises(InputFault) as refused:
        read_rig_text(EXPLOSIVE[name], "rig.toml")
    assert time.monotonic() - begin < 5.0
    assert len(str(refused.value)) < 100_000


@pytest.mark.parametrize(
    "text", [TERMINAL.encode("latin-1"), b"\xff\xfe\x00", b"z" * 300], ids=repr
)
def test_a_message_of_the_board_is_kept_escaped(text):
    rig = read_rig_text(demo_rig_file().read_text("utf-8"), "rig.toml")
    decoder = make_decoder(rig.link, rig.cells)
    told = decoder.feed(Chunk(b"cut\n# " + text + b"\n1,2,3\n", 1)).events
    assert all(printable(event.text) and len(event.text) <= 80 for event in told)
    assert {event.kind for event in told} <= {"first line", "message", "long"}


def test_a_specimen_without_a_key_is_refused():
    with pytest.raises(Fault, match="write key=value"):
        parse_specimen([TERMINAL])
