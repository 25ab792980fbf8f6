"""A person's word wins over a rule; both are kept, with the date."""

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from analysis.moved_mark import move_mark
from analysis.pull_curve import pull_curve
from analysis.reduction import reduce_recording
from daq.faults import InputFault
from daq.record.reader import Change, read_recording
from tui.cli import main


def said(recording, *changes):
    history = tuple(Change(datetime.now(UTC), "said", change, {}) for change in changes)
    return reduce_recording(replace(recording, history=history), recording.path)


def test_a_persons_mode_stands_beside_the_proposal(recorded):
    recording, _ = recorded()
    result = said(recording, {"mode": "fibre plug"})
    assert (result.mode, result.mode_by) == ("fibre plug", "person")
    assert result.proposed_mode == "withdrawal"
    taken_back = said(recording, {"mode": "fibre plug"}, {"mode": ""})
    assert (taken_back.mode, taken_back.mode_by) == ("withdrawal", "proposed")


def test_invalid_needs_no_more_than_the_reason_and_can_be_taken_back(recorded):
    recording, _ = recorded()
    result = said(recording, {"invalid": "leaned on it"})
    assert (result.kind.value, result.kind_by, result.reason) == (
        "invalid",
        "person",
        "leaned on it",
    )
    assert said(recording, {"invalid": "x"}, {"invalid": ""}).kind.value == "failed"


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        ({"mode": "grip slipped"}, "invalid"),
        ({"mode": "withdrawal"}, "failed"),
        ({"invalid": ""}, "failed"),
        ({"mode": "stopped whole"}, "at least"),
    ],
)
def test_a_person_settles_whether_the_grip_slipped(recorded, change, kind):
    recording, _ = recorded("grip-slip", 200)
    result = said(recording, change)
    assert result.kind.value == kind
    assert "grip slipped?" not in result.flags


def test_a_moved_yield_keeps_what_was_found(recorded, write_file, capsys):
    recording, _ = recorded()
    path = write_file(recording)
    before = reduce_recording(read_recording(path), path)
    command = ["reduce", str(path), "--move-mark", "yield=41.5", "--reason", "kink in the curve"]
    assert main([*command, "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    assert document["yield_rule"] == "moved by hand"
    assert document["yield_found_n"] == pytest.approx(before.yield_force_n)
    assert document["yield_s"] == pytest.approx(41.5, abs=0.02)
    curve = pull_curve(recording)
    at_n = np.interp(curve.began_s + 41.5, curve.seconds, curve.forces.at_specimen_n)
    assert document["yield_force_n"] == pytest.approx(at_n, abs=10.0)
    assert "yield moved by hand" in document["flags"]
    (change,) = read_recording(path).history
    assert change.reason == "kink in the curve"
    assert change.at.utcoffset() is not None


@pytest.mark.parametrize(
    ("landmark", "seconds", "reason", "words"),
    [
        ("crack", 10.0, "why", "there is no mark"),
        ("yield", 10.0, " ", "say why"),
        ("yield", 900.0, "why", "seconds since the pull began, from 0 to"),
        ("yield", float("nan"), "why", "seconds since the pull began"),
    ],
)
def test_what_cannot_be_moved_is_said(recorded, write_file, landmark, seconds, reason, words):
    recording, _ = recorded()
    path = write_file(recording)
    with pytest.raises(InputFault, match=words):
        move_mark(path, landmark, seconds, reason)
    assert read_recording(path).history == ()


def test_the_command_says_what_a_mark_needs(recorded, write_file, capsys):
    path = write_file(recorded()[0])
    assert main(["reduce", str(path), "--move-mark", "yield=soon", "--reason", "x"]) == 2
    assert "yield=SECONDS" in capsys.readouterr().err
    assert main(["reduce", str(path.parent), "--move-mark", "yield=3", "--reason", "x"]) == 2
    assert "name one recording" in capsys.readouterr().err
