"""``pullstand pull --headless`` against a simulated board on a real port: scenarios and faults.

Nothing invented, everything counted: kept + lost + bad lines = what the board sent.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from simulators.scenario import scenario_names
from simulators.serving import BoardOrder, serve
from tui.commands.demo import demo_rig_file

PULLSTAND = [sys.executable, "-P", "-m", "tui"]
SPEED = 60.0
LOST_DEVICE, STOPPED = 3, 4

pytestmark = pytest.mark.slow


def run(*words: object) -> subprocess.CompletedProcess[str]:
    """Run a command; its output is captured."""
    return subprocess.run(
        [*PULLSTAND, *map(str, words)], capture_output=True, text=True, timeout=60, check=False
    )


def pull(order: BoardOrder, folder: Path, *more: object):
    """Pull until the board's script is over; return exit code, document, words and truth."""
    with serve(order) as board:
        done = run(
            *("pull", "--rig", demo_rig_file(), "--port", board.port),
            *("--out", folder, "--headless", "--seconds", 40, "--json", *more),
        )
        truth = board.truth
    assert "Traceback" not in done.stderr
    return done.returncode, json.loads(done.stdout), done.stderr, truth


def counted(document) -> int:
    """Samples kept, lost and spoiled."""
    return document["samples"] + document["lost_samples"] + sum(document["bad_lines"].values())


def reduced(document):
    """Return the results of what was recorded."""
    done = run("reduce", *document["recordings"], "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.parametrize("scenario", [n for n in scenario_names() if n != "wound-back"])
def test_each_scenario_is_recorded_whole(scenario, tmp_path):
    """One file, every sample accounted for, the maximum within 1 % of the true one."""
    code, document, words, truth = pull(BoardOrder(scenario, seed=4, speed=SPEED), tmp_path)
    assert code == LOST_DEVICE  # the script ends as a pulled cable does
    assert "went away" in words
    assert counted(document) == truth["samples_sent"]
    (result,) = reduced(document)
    assert result["max_force_n"] == pytest.approx(truth["max_force_n"], rel=0.01)


def test_the_stop_trips_and_the_pull_goes_on_to_its_end(tmp_path):
    """Wound back whole at the stop: exit 4, and the file holds an "at least"."""
    code, document, words, _ = pull(BoardOrder("wound-back", seed=4, speed=SPEED), tmp_path)
    assert code == STOPPED
    assert document["trip"]["cause"] == "specimen force"
    assert "the stop is 6200 N" in words
    (result,) = reduced(document)
    assert result["kind"] == "at least"


@pytest.mark.parametrize(
    ("fault", "seen"),
    [
        ("first-line-cut", lambda d: d["bad_lines"] == {"first line": 1}),
        ("missing", lambda d: d["gaps"] > 0 and d["lost_samples"] > 0),
        ("merged", lambda d: d["bad_lines"]["long"] > 0),
        ("garbled", lambda d: d["bad_lines"].get("not a number", 0) > 0),
        ("stall", lambda d: d["gaps"] == 0 and d["lost_samples"] == 0),
        ("unplug", lambda d: d["trip"]["cause"] == "silence"),
    ],
)
def test_a_fault_is_counted_and_nothing_is_invented(fault, seen, tmp_path):
    """The sums add up and the maximum is still the true one, where it was reached."""
    order = BoardOrder("hardwood-withdrawal", seed=4, speed=SPEED, faults=(fault,))
    code, document, _, truth = pull(order, tmp_path)
    assert code == LOST_DEVICE
    assert seen(document)
    assert counted(document) == truth["samples_sent"]
    (result,) = reduced(document)
    assert result["max_force_n"] < truth["max_force_n"] * 1.01
    if fault != "unplug":
        assert result["max_force_n"] == pytest.approx(truth["max_force_n"], rel=0.01)


def test_seconds_that_are_lost_trip_and_are_counted(tmp_path):
    """Three seconds of the board's clock without a line: silence, one gap, every line counted."""
    order = BoardOrder("hardwood-withdrawal", seed=4, speed=SPEED, faults=("silence",))
    code, document, _, truth = pull(order, tmp_path)
    assert code == STOPPED
    assert document["trip"]["cause"] == "silence"
    assert document["gaps"] == 1
    (silence,) = truth["faults"]
    assert document["lost_samples"] == silence["samples"] > 200
    assert counted(document) <= truth["samples_sent"]  # it ends once the pull is over


@pytest.mark.parametrize(
    ("fault", "cause"),
    [("restart", "board restart"), ("spike", "saturated"), ("silence", "silence")],
)
def test_a_fault_that_makes_the_force_unknown_trips(fault, cause, tmp_path):
    """The pull is kept to its end, the exit code says the guard stopped it."""
    order = BoardOrder("hardwood-withdrawal", seed=4, speed=SPEED, faults=(fault,))
    code, document, _, truth = pull(order, tmp_path)
    assert code == STOPPED
    assert document["trip"]["cause"] == cause
    (result,) = reduced(document)
    assert result["max_force_n"] == pytest.approx(truth["max_force_n"], rel=0.01)
    assert result["flags"]


def test_packets_carry_the_same_pull_as_lines(tmp_path):
    """Both wire formats end in one maximum; lost packets are exact."""
    rig = tmp_path / "packet-rig.toml"
    text = demo_rig_file().read_text("utf-8")
    rig.write_text(text.replace('format = "text"', 'format = "packet"'), "utf-8")
    order = BoardOrder("split", seed=4, speed=SPEED, wire_format="packet")
    with serve(order) as board:
        done = run(
            *("pull", "--rig", rig, "--port", board.port, "--out", tmp_path),
            *("--headless", "--pulls", 1, "--json"),
        )
        truth = board.truth
    assert done.returncode == 0, done.stderr
    (result,) = reduced(json.loads(done.stdout))
    assert result["max_force_n"] == pytest.approx(truth["max_force_n"], rel=0.01)


@pytest.mark.parametrize("seed", [1, 2])
def test_the_demo_agrees_with_its_truth(seed, tmp_path):
    """``demo --headless --json``: two pulls, each within 1 % of the truth."""
    done = run(
        *("demo", "--headless", "--seed", seed, "--out", tmp_path, "--speed", SPEED, "--json")
    )
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    assert len(document["recordings"]) == len(document["pulls"]) == len(document["truth"]) == 2
    for result, true in zip(document["pulls"], document["truth"], strict=True):
        assert result["max_force_n"] == pytest.approx(true["max_force_n"], rel=0.01)
        assert result["kind"] == true["kind"]
