"""A correction months later, on a copy of the demo campaign: old and new stand side by side."""

import json
import shutil
from pathlib import Path

import pytest

from daq.record.reader import read_recording
from tui.cli import main

DEMO = Path(__file__).parents[2] / "recordings" / "demo"
REASON = "the 5 kg plates weigh 5.18 kg"
FACTOR = 5.18 / 5
ONE_OF_EACH = ("A-01", "C-02", "C-05", "D-04", "ash-D", "larch-1", "flange-1")


@pytest.fixture
def campaign(tmp_path):
    """A copy of a few pulls: usual, invalid twice, restarted, ended whole, soft, pull-through."""
    folder = tmp_path / "campaign"
    folder.mkdir()
    for label in ONE_OF_EACH:
        (path,) = DEMO.glob(f"*-{label}.h5")
        shutil.copy(path, folder)
    return folder


def document(capsys, *arguments):
    assert main([*map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def maxima(capsys, folder):
    """Label -> maximum, N."""
    reduced = document(capsys, "reduce", folder)
    return {pull["specimen"]["label"]: pull["max_force_n"] for pull in reduced}


def refused(capsys, *arguments):
    """The complaint of a command that refuses, and its exit code."""
    code = main([*map(str, arguments)])
    return code, capsys.readouterr().err


def test_the_whole_campaign_with_heavier_plates(tmp_path, capsys):
    """The invented story's own figures: 4.57, 4.39, 3.01 kN become 4.74, 4.55, 3.12."""
    folder = tmp_path / "campaign"
    shutil.copytree(DEMO, folder)
    told = document(capsys, "amend", folder, "--masses", "x1.036", "--reason", REASON)
    assert len(told["changes"]) == 48
    for change in told["changes"]:
        assert change["new_max_force_n"] == pytest.approx(FACTOR * change["old_max_force_n"])
        assert change["new_kind"] == change["old_kind"]
    pilots = {(c["a"], c["b"]): c for c in told["conclusions"] if c["by"] == "pilot_mm"}
    assert pilots[9.0, 8.5]["old_verdict"] == pilots[9.0, 8.5]["new_verdict"] == "matters"
    assert pilots[8.5, 8.0]["new_verdict"] == "cannot tell"
    assert not any(each["changed"] for each in told["conclusions"])
    (stop,) = told["stops"]
    assert stop["stop_n"] == 6200.0
    assert stop["true_stop_n"] == pytest.approx(6423.0, abs=1.0)
    assert stop["limit_n"] == pytest.approx(6538.0, abs=1.0)  # 200 kgf / 0.6 x 2
    assert not stop["exceeded"]
    assert stop["true_stop_n"] > stop["stop_allowed_n"]
    found = document(capsys, "compare", folder, "--where", "series=inserts", "--by", "pilot_mm")
    means = [group["mean_n"] / 1000 for group in found["groups"]]
    assert means == pytest.approx([4.74, 4.55, 3.12], abs=0.01)


def test_old_results_stay_and_a_second_goes_on_top(campaign, capsys):
    before = maxima(capsys, campaign)
    headers = {path: read_recording(path).header for path in campaign.glob("*.h5")}
    document(capsys, "amend", campaign, "--masses", "x1.036", "--reason", REASON)
    once = maxima(capsys, campaign)
    document(capsys, "amend", campaign, "--masses", "x0.99", "--reason", "scale was checked")
    twice = maxima(capsys, campaign)
    for label, force_n in before.items():
        assert once[label] == pytest.approx(1.036 * force_n)
        assert twice[label] == pytest.approx(1.036 * 0.99 * force_n)
    words = {pull["amended"] for pull in document(capsys, "reduce", campaign)}
    assert words == {f"masses x1.036 ({REASON}); masses x0.99 (scale was checked)"}
    for path, header in headers.items():
        recording = read_recording(path)
        assert recording.header == header
        first, second = [c for c in recording.history if "amended" in c.change]
        assert (first.reason, second.reason) == (REASON, "scale was checked")
        label = header.specimen["label"]
        assert first.change["old_max_force_n"] == pytest.approx(before[label])
        assert second.change["new_max_force_n"] == pytest.approx(twice[label])


def test_a_calibration_file_and_corrected_masses_agree(campaign, tmp_path, capsys):
    """Two ways to the same weights; the file was fitted anew from the counts."""
    other = tmp_path / "other"
    shutil.copytree(campaign, other)
    document(capsys, "amend", campaign, "--masses", "x1.036", "--reason", REASON)
    new = DEMO / "calibration-reweighed.json"
    document(capsys, "amend", other, "--calibration", new, "--reason", REASON)
    assert maxima(capsys, campaign) == pytest.approx(maxima(capsys, other), rel=1e-9)


def test_the_ratio_acts_on_the_specimen_force_alone(campaign, capsys):
    before = maxima(capsys, campaign)
    told = document(capsys, "amend", campaign, "--ratio", 2.004, "--reason", "bucket, both ways")
    after = maxima(capsys, campaign)
    assert after == pytest.approx({k: 2.004 / 2 * v for k, v in before.items()}, rel=1e-9)
    (stop,) = told["stops"]
    assert stop["true_stop_n"] == pytest.approx(6200 * 1.002, rel=1e-6)
    assert stop["limit_n"] == pytest.approx(200 * 9.80665 / 0.6 * 2.004, rel=1e-6)


def test_a_note_changes_no_force(campaign, capsys):
    before = maxima(capsys, campaign)
    told = document(capsys, "amend", campaign, "--note", "film found", "--reason", "for the report")
    assert maxima(capsys, campaign) == before
    assert {change["new_max_force_n"] for change in told["changes"]} == set(before.values())


def test_the_same_command_again_changes_nothing(campaign, capsys):
    order = ("amend", campaign, "--masses", "x1.036", "--reason", REASON)
    document(capsys, *order)
    bytes_before = {path: path.read_bytes() for path in campaign.glob("*.h5")}
    again = document(capsys, *order)
    assert again["changes"] == []
    assert len(again["left"]) == len(ONE_OF_EACH)
    assert {path: path.read_bytes() for path in campaign.glob("*.h5")} == bytes_before


def test_in_words(campaign, capsys):
    assert main(["amend", str(campaign), "--masses", "x1.036", "--reason", REASON]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "stop of 6.20 kN was truly 6.42 kN against 6.54 kN" in words
    assert "not exceeded, but above the 6.21 kN this rig allows" in words
    assert "1.0360" in words


def test_a_limit_that_was_exceeded_is_said(campaign, capsys):
    told = document(capsys, "amend", campaign, "--masses", "x1.08", "--reason", "much heavier")
    assert told["stops"][0]["exceeded"]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--reason", "x"], "nothing to amend"),
        (["--reason", " ", "--ratio", "2"], "reason"),
        (["--reason", "x", "--masses", "1.036"], 'such as "x1.036"'),
        (["--reason", "x", "--masses", "x9"], "is possible"),
        (["--reason", "x", "--ratio", "-2"], "not possible"),
        (["--reason", "x", "--calibration", "no-such.json"], "no-such.json"),
        (
            ["--reason", "x", "--masses", "x1.1", "--calibration", str(DEMO / "calibration.json")],
            "give one",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(campaign, capsys, options, says):
    before = {path: path.read_bytes() for path in campaign.glob("*.h5")}
    code, complaint = refused(capsys, "amend", campaign, *options)
    assert code == 2
    assert says in complaint
    assert "Traceback" not in complaint
    assert {path: path.read_bytes() for path in campaign.glob("*.h5")} == before


def test_a_calibration_of_another_build_touches_nothing(campaign, tmp_path, capsys):
    rig = tmp_path / "rig.toml"
    rig.write_text((DEMO / "rig.toml").read_text("utf-8").replace('build = "4"', 'build = "5"'))
    new = tmp_path / "build5.json"
    points = DEMO / "weights.csv"
    assert main(["calibrate", "--points", str(points), "--rig", str(rig), "-o", str(new)]) == 0
    capsys.readouterr()
    code, complaint = refused(capsys, "amend", campaign, "--calibration", new, "--reason", "x")
    assert code == 2
    assert "no recording is of build 5" in complaint


def test_one_damaged_recording_stops_all(campaign, capsys):
    victim, *others = sorted(campaign.glob("*.h5"))
    victim.write_bytes(victim.read_bytes()[:-200])
    before = {path: path.read_bytes() for path in others}
    code, complaint = refused(capsys, "amend", campaign, "--masses", "x1.036", "--reason", REASON)
    assert code == 5
    assert victim.name in complaint
    assert "Nothing was written" in complaint
    assert {path: path.read_bytes() for path in others} == before
