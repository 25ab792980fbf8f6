"""Laws of the recording: what goes in comes out, in any batches, whatever it says."""

import dataclasses
import io
import json
from datetime import datetime
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from daq.record import events as event_rows
from daq.record import header as headers
from daq.record.events import Event, EventKind
from daq.record.held_file import HeldFile
from daq.record.inert_text import MAX_LABEL, file_label, file_stem, inert, inert_mapping
from daq.record.pull_file import PullFile
from daq.record.reader import read_recording
from daq.samples import sample_dtype

HEADER = headers.from_json(
    (Path(__file__).parents[1] / "unit/daq/record/data/header.json").read_text(encoding="utf-8")
)
TEXTS = st.text(alphabet=st.characters(exclude_categories=()), max_size=60)  # surrogates too
VALUES = TEXTS | st.floats() | st.integers() | st.booleans() | st.none()


@given(TEXTS, st.integers(0, 80))
def test_inert_text_is_printable_short_and_settled(text, limit):
    once = inert(text, limit)
    assert all(ch.isprintable() for ch in once)
    assert len(once) <= limit
    assert inert(once, limit) == once
    once.encode("utf-8")


@given(TEXTS)
def test_a_label_is_a_plain_part_of_a_name(label):
    plain = file_label(label)
    assert len(plain) <= MAX_LABEL
    assert plain == "" or plain.replace("-", "").replace("_", "").isalnum()
    assert plain.isascii()
    name = file_stem(datetime(2026, 11, 25, 10, 15, 2), 3, label)
    assert Path(name).name == name


@given(st.dictionaries(TEXTS, VALUES, max_size=8))
def test_free_keys_and_values_come_back_from_the_header(mapping):
    header = dataclasses.replace(HEADER, specimen=mapping, session=mapping)
    assert headers.from_json(headers.to_json(header)) == header
    assert inert_mapping(header.specimen) == header.specimen


@given(TEXTS, st.floats(), st.integers(0, 2**64 - 1), st.sampled_from(EventKind))
def test_events_come_back(text, value, index, kind):
    event = Event(kind, index, 5, text, value)
    (back,) = event_rows.from_rows(event_rows.to_rows([event]))
    assert (back.kind, back.index, back.host_ns) == (kind, index, 5)
    np.testing.assert_equal(back.value, value)
    assert back.text.startswith(inert(text, 200)[:20])


@given(st.recursive(VALUES, lambda inner: st.lists(inner) | st.dictionaries(TEXTS, inner)))
def test_any_result_has_a_json_form(value):
    json.loads(headers.mapping_json({"value": value}))


@given(
    st.lists(
        st.tuples(st.integers(0, 20_000), st.binary(max_size=9_000), st.booleans()), max_size=12
    )
)
def test_a_held_file_is_like_any_file(writes):
    disk, plain = io.BytesIO(), io.BytesIO()
    held = HeldFile(disk)
    for place, data, commit in writes:
        for file in (held, plain):
            file.seek(place)
            file.write(data)
        if commit:
            held.commit(sync=False)
            assert disk.getvalue() == plain.getvalue()


@settings(
    max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(batches=st.lists(st.integers(0, 1_500), min_size=1, max_size=6))
def test_any_split_into_batches_gives_the_same_record(tmp_path, batches):
    whole = np.zeros(sum(batches), sample_dtype(2))
    for name in ("index", "board_us", "arrival_ns"):
        whole[name] = np.arange(len(whole))
    whole["counts"] = np.arange(len(whole))[:, None] * np.array([-3, 5])
    pull = PullFile.create(tmp_path, HEADER, 2)
    start = 0
    for number, count in enumerate(batches):
        pull.append(whole[start : start + count])
        start += count
        if number % 2:
            assert pull.commit() == start
    pull.finish({}, None, None)
    np.testing.assert_array_equal(read_recording(pull.path).samples, whole)
    pull.path.unlink()
