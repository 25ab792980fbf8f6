"""What programs may rely on: ``--json`` prints one document with these keys; exit codes."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

from tui.commands import COMMANDS
from tui.commands.demo import demo_rig_file

PULLSTAND = [sys.executable, "-P", "-m", "tui"]
DEMO = Path(__file__).parents[2] / "recordings" / "demo"
ONE = min(DEMO.glob("*.h5"))
BAD_INPUT, NO_DEVICE, BAD_RECORDING = 2, 3, 5


def run(*words: object) -> subprocess.CompletedProcess[str]:
    """Run a command; its output is captured."""
    return subprocess.run(
        [*PULLSTAND, *map(str, words)], capture_output=True, text=True, timeout=60, check=False
    )


def document(*words: object):
    """Run a command with ``--json`` and return its one document."""
    done = run(*words, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def points(tmp_path_factory) -> Path:
    """A points file: noiseless, 2 counts a newton."""
    path = tmp_path_factory.mktemp("points") / "points.csv"
    with path.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["load_n", "response", "direction"])
        ways = ("up",) * 5 + ("down",) * 2
        for load, way in zip((0, 100, 200, 300, 400, 200, 0), ways, strict=True):
            rows.writerow([load, 2 * load + 5, way])
    return path


def test_every_command_explains_itself():
    """``--help`` of the whole and of each command, exit 0."""
    assert run("--help").returncode == 0
    for name in COMMANDS:
        done = run(name, "--help")
        assert done.returncode == 0, done.stderr
        assert "--json" in done.stdout


def test_rig_check():
    """Parts with their limits at the specimen, the weakest by name, the stop, the energy."""
    found = document("rig", "check", demo_rig_file())
    assert {
        *("weakest", "stop_n", "stop_allowed_n", "stop_ok", "ratio", "u_ratio_rel"),
        *("stored_energy_j", "parts"),
    } <= set(found)
    assert found["ratio"] == pytest.approx(2.0)
    names = {part["name"] for part in found["parts"]}
    assert found["weakest"] in names
    for part in found["parts"]:
        assert {"name", "acts_at", "limit_n", "limit_at_specimen_n"} <= set(part)


def test_calibrate(points):
    """Coefficients ascending and unscaled; an inverse with its interval."""
    found = document("calibrate", "--points", points, "--degree", 1, "--invert", 405)
    assert {
        *("degree", "coefficients", "standard_errors", "residual_sd", "r_squared", "llf"),
        *("class_a_from", "invert", "zero_return", "hysteresis", "repeatability", "verified_to"),
    } <= set(found)
    assert found["coefficients"] == pytest.approx([5.0, 2.0])
    assert found["verified_to"] == pytest.approx(400.0)
    assert found["invert"][0]["load"] == pytest.approx(200.0)


def test_reduce_and_compare():
    """A list of results; groups, pairs with verdicts, shares of variance."""
    results = document("reduce", DEMO, "--where", "series=pull-through")
    assert len(results) == 6
    for result in results:
        assert {
            *("file", "specimen", "kind", "mode", "max_force_n", "u_max_force_n"),
            *("U95_max_force_n", "time_to_max_s", "yield_force_n", "cracks", "f_per_mm_n"),
            "flags",
        } <= set(result)
    found = document("compare", DEMO, "--where", "series=inserts", "--by", "pilot_mm")
    assert {
        *("groups", "anova", "welch", "pairs", "variance_share", "needed_per_group", "plateau"),
    } <= set(found)
    for group in found["groups"]:
        assert {
            *("level", "n", "n_at_least", "mean_n", "sd_n", "cov", "ci95_n", "characteristic_n")
        } <= set(group)
    for pair in found["pairs"]:
        assert {"a", "b", "difference_n", "ci95_n", "p", "verdict"} <= set(pair)


def test_repair():
    """What is there and what was lost."""
    found = document("repair", ONE)
    assert found["recovered_samples"] > 1000
    assert found["lost_estimate_s"] == 0


def test_plan_and_predict(tmp_path):
    """Pulls of a plan; a value with unit, source, basis, validity and warnings."""
    plan = document(
        *("plan", tmp_path / "new", "--factor", "pilot=8.0 mm,8.5 mm", "--board", "A"),
        *("--board", "B", "--replicates", 1, "--seed", 1),
    )
    assert len(plan["pulls"]) == 4
    found = document("predict", "wood-screw", "source=handbook", "G12=0.5", "d_mm=4.83", "l_mm=25")
    assert {"value", "unit", "source", "basis", "valid", "warnings"} <= set(found)
    # USDA Wood Handbook FPL-GTR-282, Eq. 8-10: 108.25 x 0.25 x 4.83 x 25
    assert found["value"] == pytest.approx(3267.8, rel=1e-4)


def test_ports():
    """A list, maybe empty."""
    assert isinstance(document("ports")["ports"], list)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("rig", "check", "nowhere.toml"), BAD_INPUT),
        (("reduce", "nowhere.h5"), BAD_INPUT),
        (("predict", "wood-screw", "nonsense=1"), BAD_INPUT),
        (("simulate", "nonsense"), BAD_INPUT),
        (("pull", "--rig", demo_rig_file(), "--port", "/dev/nowhere", "--headless"), NO_DEVICE),
        (("pull", "--rig", demo_rig_file(), "--port", "/dev/nowhere", "--json"), NO_DEVICE),
        (("replay", __file__), BAD_RECORDING),
        (("repair", __file__), BAD_RECORDING),
    ],
)
def test_exit_codes_mean_something(words, code, tmp_path, monkeypatch):
    """One sentence on stderr, no traceback, the right code."""
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert done.returncode == code
    assert done.stderr.strip() or done.stdout.strip()
    assert "Traceback" not in done.stderr
