import os
import random

import h5py
import numpy as np
import pytest

from daq.faults import RecordingFault
from daq.record import guarded, layout, reader
from daq.record.reader import read_recording
from daq.record.seal import LENGTH, Seal, add_seal, read_seal


def change(path, edit, seal):
    """Let ``edit`` change the open file, as another program would; seal it again if asked."""
    with h5py.File(path, "r+") as file:
        edit(file)
    if seal:
        with path.open("r+b", buffering=0) as raw:
            add_seal(raw)


def refusal(path):
    with pytest.raises(RecordingFault) as caught:
        read_recording(path)
    assert caught.value.exit_code == 5
    assert str(caught.value).endswith(".")
    assert "\n" not in str(caught.value)
    return str(caught.value)


# -- not a recording at all --------------------------------------------------------------------


def test_no_such_file_folder_pipe_and_empty(tmp_path):
    assert "No such file" in refusal(tmp_path / "none.h5")
    assert "not a file" in refusal(tmp_path)
    (tmp_path / "empty.h5").touch()
    assert "0 bytes" in refusal(tmp_path / "empty.h5")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.h5")  # opening it would wait for ever
        assert "not a file" in refusal(tmp_path / "pipe.h5")


def test_foreign_files(tmp_path):
    (tmp_path / "words.h5").write_bytes(b"only words\n" * 50)
    assert "damaged" in refusal(tmp_path / "words.h5")
    with h5py.File(tmp_path / "foreign.h5", "w") as file:
        file["other"] = np.arange(5)
    assert "missing" in refusal(tmp_path / "foreign.h5")


def test_a_later_format_is_said(finished):
    def edit(file):
        del file["entry/definition_version"]
        file["entry"].create_dataset("definition_version", data=b"9", dtype="S1")

    change(finished, edit, seal=True)
    assert "format version is 9" in refusal(finished)


# -- never follow another file -----------------------------------------------------------------


def external_link(file):
    file["entry/raw/extra"] = h5py.ExternalLink("/etc/passwd", "/")


def external_counts(file):
    del file["entry/raw/counts"]
    file["entry/raw/counts"] = h5py.ExternalLink("other.h5", "/entry/raw/counts")


def soft_counts(file):
    del file["entry/raw/counts"]
    file["entry/raw/counts"] = h5py.SoftLink("/entry/raw/index")


def virtual_counts(file):
    shape = file["entry/raw/counts"].shape
    del file["entry/raw/counts"]
    source = h5py.VirtualSource("other.h5", "x", shape=shape, dtype="<i4")
    virtual = h5py.VirtualLayout(shape=shape, dtype="<i4")
    virtual[:] = source[:]
    file["entry/raw"].create_virtual_dataset("counts", virtual)


def counts_in_another_file(file):
    shape = file["entry/raw/counts"].shape
    del file["entry/raw/counts"]
    file["entry/raw"].create_dataset(
        "counts", shape=shape, dtype="<i4", external=[("/etc/hostname", 0, 8 * shape[0])]
    )


def references(file):
    file["entry"].create_dataset("marks", (1,), dtype=h5py.ref_dtype)


def region_references(file):
    file["entry"].create_dataset("regions", (1,), dtype=h5py.regionref_dtype)


def references_in_a_record(file):
    file["entry"].create_dataset("marks", (1,), dtype=np.dtype([("a", h5py.ref_dtype)]))


def compressed(file):
    samples = file["entry/raw/counts"][()]
    del file["entry/raw/counts"]
    file["entry/raw"].create_dataset("counts", data=samples, compression="gzip")


def texts_of_any_length(file):
    file["entry"].create_dataset("free", data="text", dtype=h5py.string_dtype())


def a_circle_of_groups(file):
    file["entry/raw/again"] = file["entry"]


STRANGE = [
    external_link,
    external_counts,
    soft_counts,
    virtual_counts,
    counts_in_another_file,
    references,
    region_references,
    references_in_a_record,
    compressed,
    texts_of_any_length,
    a_circle_of_groups,
]


@pytest.mark.parametrize("edit", STRANGE)
def test_what_leads_elsewhere_is_refused(finished, edit):
    change(finished, edit, seal=False)
    assert refusal(finished)


@pytest.mark.parametrize("edit", [*STRANGE[1:5], compressed])
def test_a_seal_over_it_changes_nothing(finished, edit):
    change(finished, edit, seal=True)
    assert refusal(finished)


# -- shapes, types, texts ----------------------------------------------------------------------


def missing(name):
    def edit(file):
        del file[name]

    return edit


def wrong_type(file):
    flags = file["entry/raw/flags"][()].astype("<f4")
    del file["entry/raw/flags"]
    file["entry/raw/flags"] = flags


def absurd_shape(file):
    del file["entry/raw/counts"]
    file["entry/raw"].create_dataset("counts", (1 << 40, 2), "<i4", chunks=(1024, 2))


def too_many_cells(file):
    del file["entry/raw/counts"]
    file["entry/raw/counts"] = np.zeros((184, 40), "<i4")


def another_number_of_cells(file):
    del file["entry/raw/counts"]
    file["entry/raw/counts"] = np.zeros((184, 3), "<i4")


def no_state(file):
    del file["entry"].attrs[layout.STATE]


def odd_state(file):
    file["entry"].attrs[layout.STATE] = "so-so\x1b[2J"


def more_committed_than_there_is(file):
    for name in layout.RAW_FIELDS:
        file[f"entry/raw/{name}"].resize(100, axis=0)


def unknown_event(file):
    rows = file["entry/events"][()]
    rows["kind"][0] = b"party"
    file["entry/events"][...] = rows


def header(text):
    def edit(file):
        import hashlib

        del file["entry/header"]
        data = text.encode()
        file["entry"].create_dataset("header", data=data, dtype=f"S{len(data)}")
        file["entry/header"].attrs["sha256"] = hashlib.sha256(data).hexdigest()

    return edit


def header_without_checksum(file):
    del file["entry/header"].attrs["sha256"]


def with_header(old, new):
    def edit(file):
        header(file["entry/header"][()].decode().replace(old, new))(file)

    return edit


@pytest.mark.parametrize(
    "edit",
    [
        *(
            missing(f"entry/{name}")
            for name in ("header", "raw", "events", "commits", "history", "definition", "raw/flags")
        ),
        wrong_type,
        absurd_shape,
        too_many_cells,
        another_number_of_cells,
        no_state,
        odd_state,
        more_committed_than_there_is,
        unknown_event,
        header("{}"),
        header("[]"),
        header("no JSON"),
        header("[" * 100_000),
        header_without_checksum,
        with_header('"ratio": 2.0', '"ratio": NaN'),
        with_header('"ratio": 2.0', '"ratio": 1e999'),
        with_header('"ratio": 2.0', '"ratio": null'),
        with_header('"ratio": 2.0', '"ratio": "two"'),
        with_header('"capacity_n": 1961.33', '"capacity_n": Infinity'),
        with_header("+01:00", ""),
        with_header("2026-11-25T10:15", "one day"),
        with_header('"counts": [211873.5', '"counts": [1e400'),
        with_header('"cells": [', '"cells": 5, "x": ['),
    ],
)
def test_damaged_or_doctored_parts_are_refused_even_under_a_seal(finished, edit):
    change(finished, edit, seal=True)
    assert "\x1b" not in refusal(finished)


def test_another_program_added_something_harmless(finished):
    def edit(file):
        file["entry/my_note"] = np.arange(3)

    change(finished, edit, seal=False)
    recording = read_recording(finished)
    assert len(recording.samples) == 184
    assert not recording.complete
    assert "closed" in recording.cut_short


# -- the seal ----------------------------------------------------------------------------------


def test_any_flipped_bit_of_a_finished_file_is_seen(finished):
    whole = finished.read_bytes()
    chance = random.Random(7)
    for _ in range(200):
        data = bytearray(whole)
        place = chance.randrange(len(whole) - LENGTH)
        data[place] ^= 1 << chance.randrange(8)
        finished.write_bytes(data)
        assert "after it was closed" in refusal(finished)


def test_seal_is_a_sha256_of_what_stands_before_it(finished):
    """The words and numbers are those of ``sha256sum``, so that anybody can check them."""
    import hashlib

    data = finished.read_bytes()
    words = data[-LENGTH:].decode().split()
    assert words[:3] == ["pullstand", "seal", "1"]
    assert words[4] == hashlib.sha256(data[:-LENGTH]).hexdigest()
    assert int(words[6]) == len(data) - LENGTH
    assert read_seal(finished) == (Seal.WHOLE, words[4])


# -- the child that reads ----------------------------------------------------------------------


def test_child_that_dies_is_a_sentence(write_open, monkeypatch):
    pull = write_open(2)
    pull._let_go()
    monkeypatch.setattr(guarded, "_CODE", "import os; os.abort()")
    assert "library fails on it" in refusal(pull.path)


def test_child_that_hangs_is_a_sentence(write_open, monkeypatch):
    pull = write_open(2)
    pull._let_go()
    monkeypatch.setattr(guarded, "_CODE", "while True: pass")
    monkeypatch.setattr(guarded, "LIMIT_S", 0.2)
    assert "cannot be read within" in refusal(pull.path)


def test_child_gives_the_same_as_reading_here(finished, header):
    sealed = read_recording(finished)
    with finished.open("ab") as file:
        file.write(b"\n")
    unsealed = read_recording(finished)
    np.testing.assert_array_equal(unsealed.samples, sealed.samples)
    assert unsealed.events == sealed.events
    assert unsealed.result == sealed.result
    assert unsealed.header == sealed.header


def test_a_file_that_is_written_while_it_is_read_is_read_again(write_open, monkeypatch):
    """A reader may see pages of two commits; a file that stands still is not read twice."""
    pull = write_open()
    path, tries = pull.path, []

    def torn(read, path, touched):
        tries.append(path)
        if len(tries) > 2:
            return read(path)
        if touched:
            os.utime(path, ns=(0, len(tries)))
        raise RecordingFault("the HDF5 inside is damaged")

    real = reader.read_guarded
    monkeypatch.setattr(reader, "read_guarded", lambda path: torn(real, path, True))
    assert len(read_recording(path).samples)
    assert len(tries) == 3
    tries.clear()
    monkeypatch.setattr(reader, "read_guarded", lambda path: torn(real, path, False))
    with pytest.raises(RecordingFault, match="is damaged"):
        read_recording(path)
    assert len(tries) == 1
    pull.abort("test")
