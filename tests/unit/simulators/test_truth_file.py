"""The truth file: JSON, whole, and with what a check needs."""

import json

from simulators.simulation import simulate
from simulators.truth import as_document, write_truth

NEEDED = {
    *("max_force_n", "time_of_max_s", "time_to_max_s", "kind", "mode", "yield_force_n", "cracks"),
    *("samples_sent", "lines_sent", "faults", "zero_counts", "gains", "shares", "ratio"),
    *("seed", "scenario", "pulls", "expected", "samples_unread", "complete"),
}


def test_it_holds_what_a_check_needs(tmp_path):
    truth = simulate("wound-back", 2).truth
    write_truth(tmp_path / "truth.json", truth)
    document = json.loads((tmp_path / "truth.json").read_text("utf-8"))
    assert set(document) >= NEEDED
    assert document["yield_force_n"] is None  # there was none
    assert document["max_force_n"] == truth.max_force_n
    assert [path.name for path in tmp_path.iterdir()] == ["truth.json"]


def test_of_several_pulls_the_strongest_stands_at_the_top():
    truth = simulate("split", 2, pulls=3).truth
    document = as_document(truth)
    forces = [pull["max_force_n"] for pull in document["pulls"]]
    assert len(forces) == 3
    assert document["max_force_n"] == max(forces)
    top = document["pulls"][forces.index(max(forces))]
    assert document["time_of_max_s"] == top["time_of_max_s"]
