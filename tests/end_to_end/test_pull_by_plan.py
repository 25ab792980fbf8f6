"""``pullstand pull --plan``: the list puts itself on the rig, pull after pull."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.plan_reading import read_departures, read_plan
from daq.record.reader import read_recording
from simulators.serving import BoardOrder, serve
from tui.commands.demo import demo_rig_file

PULLSTAND = [sys.executable, "-P", "-m", "tui"]
SPEED = 60.0

pytestmark = pytest.mark.slow


def run(*words):
    return subprocess.run(
        [*PULLSTAND, *map(str, words)], capture_output=True, text=True, timeout=60, check=False
    )


def pull(port, plan, out, *more):
    done = run(
        *("pull", "--rig", demo_rig_file(), "--port", port, "--headless", "--json"),
        *("--plan", plan, "--out", out, *more),
    )
    assert "Traceback" not in done.stderr
    return done


def specimens(done):
    """The specimens of the recordings of a session, in their order."""
    assert done.returncode == 0, done.stderr
    paths = map(Path, json.loads(done.stdout)["recordings"])
    return [read_recording(path).header.specimen for path in paths]


def test_the_list_is_pulled_in_order_then_a_spare(tmp_path):
    plan, out = tmp_path / "plan", tmp_path / "pulls"
    made = run(
        *("plan", plan, "--factor", "pilot=8.0 mm,8.5 mm", "--board", "A: density_kg_m3=702"),
        *("--fixed", "species=ash", "--seed", 5, "--question", "Does the pilot matter?"),
    )
    assert made.returncode == 0, made.stderr
    listed = read_plan(plan).pulls
    order = BoardOrder("hardwood-withdrawal", seed=2, pulls=3, speed=SPEED)
    with serve(order) as board:
        first = specimens(pull(board.port, plan, out, "--pulls", 1))
    assert first == [{**listed[0].specimen, "run": 1.0}]
    with serve(order) as board:
        rest = specimens(pull(board.port, plan, out))  # ends by itself with the list
    assert [specimen["label"] for specimen in rest] == ["A-02"]
    assert rest[0]["pilot_mm"] == listed[1].specimen["pilot_mm"]
    assert read_departures(plan) == ()
    with serve(order) as board:
        over = pull(board.port, plan, out)
        assert over.returncode == 2
        assert "recorded already" in over.stderr
        spare = specimens(pull(board.port, plan, out, "--pulls", 1, "--specimen", "label=A-03"))
    assert spare == [{"label": "A-03"}]
    (departure,) = read_departures(plan)
    assert (departure["label"], departure["what"]) == ("A-03", "A-03 is not on the list")
    assert departure["reason"] == "said at the start: label=A-03"


def test_a_plan_that_is_none_is_refused(tmp_path):
    done = pull("/dev/null", tmp_path / "no-plan", tmp_path / "pulls")
    assert done.returncode == 2
    assert "plan.toml" in done.stderr
    assert not (tmp_path / "pulls").exists()
