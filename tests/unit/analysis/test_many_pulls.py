"""Many recordings: in order, on all processors, after a stop, with a bad file among them."""

import json
from dataclasses import replace

import pytest

from analysis import campaign
from analysis.campaign import load_results, reduce_many
from daq.faults import RecordingFault
from tui.cli import main
from tui.result_document import KeptResults

CONTRACT = {
    "file",
    "specimen",
    "kind",
    "mode",
    "max_force_n",
    "u_max_force_n",
    "U95_max_force_n",
    "time_to_max_s",
    "yield_force_n",
    "cracks",
    "f_per_mm_n",
    "flags",
    "mode_by",
}


@pytest.fixture
def folder(recorded, write_file):
    """Six small recordings, the last seconds of pulls that differ in their specimen."""
    recording, _ = recorded()
    for number in range(1, 7):
        short = replace(recording, samples=recording.samples[: 2500 + 500 * number])
        specimen = {"label": f"S-{number}", "pilot_mm": float(number), "penetration_mm": 20.0}
        path = write_file(
            replace(short, header=replace(recording.header, specimen=specimen)), number
        )
    return path.parent


def test_processes_give_what_one_gives_in_the_same_order(folder, monkeypatch):
    files = sorted(folder.glob("*.h5"))
    alone = [outcome.result for outcome in reduce_many(files, {}, processes=1)]
    monkeypatch.setattr(campaign, "FEW_FILES", 2)
    monkeypatch.setattr(campaign, "BATCH", 2)
    together = [outcome.result for outcome in reduce_many(files, {}, processes=2)]
    assert [str(result) for result in together] == [str(result) for result in alone]
    assert [result.specimen["label"] for result in together] == [f"S-{n}" for n in range(1, 7)]


def test_the_documents_carry_the_agreed_keys(folder, capsys):
    assert main(["reduce", str(folder), "--where", "pilot_mm=3", "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    assert set(document) >= CONTRACT
    assert document["f_per_mm_n"] == pytest.approx(document["max_force_n"] / 20.0)
    assert document["specimen"]["label"] == "S-3"


def test_a_damaged_file_is_told_and_the_others_are_reduced(folder, capsys):
    bad = sorted(folder.glob("*.h5"))[2]
    data = bytearray(bad.read_bytes())
    data[len(data) // 2] ^= 0xFF
    bad.write_bytes(data)
    assert main(["reduce", str(folder), "--json"]) == 5
    printed = capsys.readouterr()
    assert len(json.loads(printed.out)) == 5
    assert bad.name in printed.err
    with pytest.raises(RecordingFault, match=bad.name):
        load_results([folder])


def test_kept_results_go_on_after_a_stop(folder, tmp_path, capsys, monkeypatch):
    out = tmp_path / "results.jsonl"
    files = sorted(folder.glob("*.h5"))
    assert main(["reduce", *map(str, files[:3]), "--out", str(out), "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    with out.open("a") as file:
        file.write('{"recording": "cut sho')  # the power went
    done = []
    reduce_file = campaign.reduce_file
    monkeypatch.setattr(
        campaign, "reduce_file", lambda file, where: done.append(file) or reduce_file(file, where)
    )
    assert main(["reduce", str(folder), "--out", str(out), "--json"]) == 0
    printed = capsys.readouterr()
    assert json.loads(printed.out)[:3] == first
    assert len(json.loads(printed.out)) == 6
    assert done == files[3:]
    assert "3 of 6 recordings are reduced already" in printed.err
    assert len(out.read_text().splitlines()) == 6


def test_a_recording_or_a_program_that_changed_is_reduced_again(folder, tmp_path, monkeypatch):
    out, file = tmp_path / "results.jsonl", next(folder.glob("*.h5"))
    KeptResults(out).add(file, {"file": str(file)})
    assert KeptResults(out).of(file) == {"file": str(file)}
    monkeypatch.setattr("tui.result_document.program_text", lambda: "another")
    assert KeptResults(out).of(file) is None
    monkeypatch.undo()
    file.write_bytes(file.read_bytes() + b" ")
    assert KeptResults(out).of(file) is None


def test_a_file_that_holds_no_results_is_not_written_over(folder, tmp_path, capsys):
    out = tmp_path / "notes.txt"
    out.write_text("my notes\nmore\n")
    assert main(["reduce", str(folder), "--out", str(out)]) == 2
    assert "is no line of results" in capsys.readouterr().err
    assert out.read_text() == "my notes\nmore\n"


def test_the_table_fits_80_columns_and_breaks_no_word(folder, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert main(["reduce", str(folder), "--budget"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    text = " ".join(line.strip() for line in lines)
    for words in ("calibration not verified", "neither failed nor wound back", "U95 ="):
        assert words in text


def test_the_budget_is_largest_first_and_adds_up_in_squares(folder, capsys):
    assert main(["reduce", str(folder), "--where", "label=S-6", "--budget", "--json"]) == 0
    (document,) = json.loads(capsys.readouterr().out)
    each = [part["u_n"] for part in document["budget"]["contributions"]]
    assert each == sorted(each, reverse=True)
    assert sum(u * u for u in each) ** 0.5 == pytest.approx(document["u_max_force_n"])
    assert document["budget"]["U95_n"] == pytest.approx(document["U95_max_force_n"])
