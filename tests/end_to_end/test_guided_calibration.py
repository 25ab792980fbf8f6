"""The guided forms on a plain terminal, walked through against weights on the simulated board."""

import json
import os
import re
import select
import subprocess
import sys
import time

import pytest

from daq.force.calibration_text import read_calibration
from daq.force.weights_draft import resume_draft
from simulators.serving import BoardOrder, serve
from simulators.weights import WeightsOrder
from tui.commands.demo import demo_rig_file

PULLSTAND = [sys.executable, "-P", "-m", "tui"]
SPEED = 30.0
MASSES = (10.0, 20.0)
#: Latitude at which normal gravity is 9.80665 to six digits, as in the simulated shop.
PLACE = ("--latitude", "45.507")

pytestmark = pytest.mark.slow


def calibrate(board, *words, typed=""):
    """Run a live form against a board; return its exit code, stdout and stderr."""
    done = subprocess.run(
        [*PULLSTAND, "calibrate", "--port", board.port, *map(str, words)],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        input=typed,
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


def weights(at="cells", masses=MASSES, rounds=2, seed=11, rig=None):
    order = WeightsOrder(masses, at, rounds)
    return BoardOrder("weights", seed, speed=SPEED, weights=order, rig_file=rig or demo_rig_file())


def test_a_calibration_finds_the_hidden_gains(tmp_path):
    with serve(weights()) as board:
        code, out, words = calibrate(
            board,
            *("--rig", demo_rig_file(), "--masses", "0, 10 kg, 20 kg", "--weights", "M1"),
            *("--draft", tmp_path / "w.csv", "-o", tmp_path / "cal.json", "--json", *PLACE),
        )
        truth = board.truth
    assert code == 0, words
    document = json.loads(out)
    assert document["verified_to"] == pytest.approx(196.104, abs=0.01)
    found = [cell["counts_per_newton"] for cell in document["cells"]]
    assert found == pytest.approx(truth["gains"], rel=2e-3)
    assert "10 of 10, round 2: nothing on" in words
    made = read_calibration(tmp_path / "cal.json")
    assert made.rig_build == "4"
    assert len(made.points) == 10
    raw = (tmp_path / "w.csv.raw.jsonl").read_text().splitlines()
    assert len(raw) == 11


def test_weights_at_the_specimen_calibrate_the_lever_too(tmp_path):
    """R is not applied to such a calibration: the summed slope is the cells' over the ratio."""
    with serve(weights("specimen")) as board:
        code, out, words = calibrate(
            board,
            *("--rig", demo_rig_file(), "--masses", "10 kg, 20 kg", "--load-at", "specimen"),
            *("--draft", tmp_path / "w.csv", "--json", *PLACE),
        )
        truth = board.truth
    assert code == 0, words
    document = json.loads(out)
    assert document["load_at"] == "specimen"
    assert "ratio will not be applied" in words
    assert "unknown: taken as within 5 %" in words
    cells = sum(s * g for s, g in zip(truth["shares"], truth["gains"], strict=True))
    assert document["coefficients"][1] == pytest.approx(cells / truth["ratio"], rel=3e-3)


def test_a_stopped_round_goes_on_from_its_draft(tmp_path):
    draft = tmp_path / "w.csv"
    words = ("--rig", demo_rig_file(), "--masses", "10 kg, 20 kg", "--draft", draft)
    with serve(weights(rounds=1)) as board:  # the board's script ends before the second round
        code, _, said = calibrate(board, *words)
    assert code == 3  # the device went away
    before = draft.read_text()
    assert before.count("\n") > 7
    with serve(weights(rounds=1, seed=11)) as board:
        code, _, said = calibrate(board, *words, typed="v hands were on it\nq\n")
    assert code == 2
    assert "goes on after point" in said
    assert "nothing is lost" in said
    assert "hands were on it" in draft.read_text()
    assert draft.read_text().startswith(before[: before.rindex("\n", 0, -1)][:200])


def test_a_killed_round_keeps_every_point_it_told_of(tmp_path):
    draft = tmp_path / "w.csv"
    words = ["--rig", str(demo_rig_file()), "--masses", "10 kg, 20 kg", "--draft", str(draft)]
    with serve(weights()) as board:
        process = subprocess.Popen(
            [*PULLSTAND, "calibrate", "--port", board.port, *words],
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
        )
        assert process.stderr is not None
        with process.stderr as said:
            for line in said:
                if "taken as point 3" in line:
                    process.kill()
                    break
        process.wait(20)
    state = resume_draft(draft)
    assert len(state.points) >= 3
    assert state.step == state.plan.steps[len(state.points)]


def test_one_bucket_agrees_with_the_tape_measure_or_blocks(tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text(demo_rig_file().read_text())
    order = weights("both", (15.0,), 1, rig=rig)
    with serve(order) as board:
        code, out, words = calibrate(board, "--rig", rig, "--ratio-check", "--json")
    assert code == 0, words
    assert json.loads(out)["ratio"] == pytest.approx(2.0, rel=0.01)
    # the tape measure slipped: the same lever, written down 3 % off
    rig.write_text(rig.read_text().replace('jack_arm = "402 mm"', 'jack_arm = "414 mm"'))
    pull = [*PULLSTAND, "pull", "--rig", str(rig), "--port", "/dev/none", "--headless"]
    refused = subprocess.run(pull, capture_output=True, text=True, timeout=60, check=False)
    assert refused.returncode == 2
    assert "More than 1 % apart" in refused.stderr
    accept = [*PULLSTAND, "calibrate", "--rig", str(rig), "--acknowledge", "new pin is ordered"]
    accepted = subprocess.run(accept, capture_output=True, text=True, timeout=60, check=False)
    assert accepted.returncode == 0
    assert "accepted: new pin is ordered" in accepted.stdout
    again = subprocess.run(pull, capture_output=True, text=True, timeout=60, check=False)
    assert again.returncode == 3  # no such port: the ratio bars nothing any more
    twice = subprocess.run(accept, capture_output=True, text=True, timeout=60, check=False)
    assert twice.returncode == 2


def test_a_check_weight_is_kept_with_its_date(tmp_path):
    words = ("--rig", demo_rig_file(), "--check-weight", "10 kg", "--out", tmp_path / "pulls")
    with serve(weights("specimen", (10.0,), 1, seed=1)) as board:
        code, out, said = calibrate(board, *words, "--load-at", "specimen", "--json", *PLACE)
        gains = board.truth["gains"]
    assert code == 0, said
    document = json.loads(out)
    nominal = (2143.2, 2137.6)
    off = sum(g / n for g, n in zip(gains, nominal, strict=True)) / 2 - 1
    assert document["error_rel"] == pytest.approx(off, abs=0.006)
    assert document["passed"] == (abs(document["error_rel"]) <= 0.01)
    kept = (tmp_path / "pulls" / "check-weights.jsonl").read_text().splitlines()
    assert json.loads(kept[0])["weight"] == "10 kg"


def test_on_a_narrow_terminal_words_are_whole_and_typing_is_seen(tmp_path):
    """A real pty of 60 columns: what a person types stands below the bar; then SIGTERM."""
    pty, termios = pytest.importorskip("pty"), pytest.importorskip("termios")
    master, slave = pty.openpty()
    termios.tcsetwinsize(slave, (24, 60))
    before = termios.tcgetattr(slave)
    words = ["--rig", str(demo_rig_file()), "--masses", "10 kg, 20 kg", "--weights", "M1"]
    environment = {name: each for name, each in os.environ.items() if name != "COLUMNS"}
    with serve(weights(masses=MASSES)) as board:
        process = subprocess.Popen(
            [*PULLSTAND, "calibrate", "--port", board.port, *words, "--draft", "w.csv"],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            cwd=tmp_path,
            env=environment,
        )
        try:
            seen = until(master, "2 of 10")
            os.write(master, b"v leaned on it")
            seen += until(master, "> v leaned on it")
            process.terminate()
            seen += until(master, "interrupted")
            assert process.wait(20) == 130
        finally:
            process.kill()
            process.wait(20)
    assert termios.tcgetattr(slave) == before
    os.close(master)
    os.close(slave)
    rows = re.split(r"[\r\n]+", re.sub(r"\x1b\[\d*[A-Z]", "\r", seen))
    assert max(map(len, rows)) <= 60
    assert "drift" in seen
    assert re.search(r"counts\s+\(limit \d+\)", seen)


def until(master, words):
    """What comes out of a terminal until ``words`` stand there."""
    seen, end = "", time.monotonic() + 30.0
    while words not in seen:
        assert time.monotonic() < end, seen
        if select.select([master], [], [], 0.1)[0]:
            seen += os.read(master, 65536).decode()
    return seen


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--masses", "0, 5, 10"), "unit"),
        (("--masses", "5 kg"), "one weight"),
        ((), "--masses"),
        (("--check-weight", "5 kg, 10 kg"), "one weight is meant"),
        (("--check-weight", "10 kg", "--within", "1"), "--within"),
        (("--check-weight", "10 kg", "--ratio-check"), "one at a time"),
    ],
)
def test_what_cannot_be_is_refused_before_the_port_is_opened(words, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    command = [*PULLSTAND, "calibrate", "--rig", str(demo_rig_file()), "--port", "/dev/none"]
    done = subprocess.run(
        [*command, *words], capture_output=True, text=True, timeout=60, check=False, cwd=tmp_path
    )
    assert done.returncode == 2
    assert said in done.stderr
    assert not list(tmp_path.iterdir())
