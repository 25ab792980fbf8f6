"""One key, one meaning; the table is whole."""

import pytest

from analysis.pull_result import MODES
from daq.live_reading import Phase, Trip
from tui.deeds import Deeds
from tui.key_table import (
    DISCARD_REASONS,
    KEYS,
    MODE_ENTRY,
    MODE_OF_KEY,
    PAGE_KEYS,
    At,
    available,
    known_at,
    pull_ended,
)

BY_ID = {key.id: key for key in KEYS}


@pytest.mark.parametrize("at", At)
def test_no_key_means_two_things(at):
    pressed = [k for key in known_at(KEYS, at) for k in (key.key, *key.also)]
    pressed += list(MODE_OF_KEY) if at is not At.REPLAY else []
    assert len(pressed) == len(set(pressed))


@pytest.mark.parametrize("page", PAGE_KEYS)
def test_no_key_of_a_page_means_two_things(page):
    keys = [key for key in PAGE_KEYS[page] if key is not MODE_ENTRY]
    pressed = [k for key in keys for k in (key.key, *key.also)]
    pressed += list(MODE_OF_KEY) if MODE_ENTRY in PAGE_KEYS[page] else []
    assert len(pressed) == len(set(pressed))
    assert {key.key for key in keys}.isdisjoint({"h", "q", "f", "a", "escape"})


def test_every_page_is_opened_by_a_key():
    assert set(PAGE_KEYS) == set(PAGE_KEYS) & set(BY_ID)


def test_a_replay_offers_nothing_that_would_change_a_record():
    ids = {key.id for key in known_at(KEYS, At.REPLAY)}
    assert {"pause", "later", "step", "speed_up", "start", "help", "quit"} <= ids
    changing = {"zero", "mark", "discard", "note", "photo", "undo", "specimen", "cautions"}
    assert ids.isdisjoint(changing)


def test_every_mode_has_a_key():
    assert tuple(MODE_OF_KEY.values()) == MODES


def test_every_key_is_done_by_the_console():
    for key in KEYS:
        assert callable(getattr(Deeds, f"do_{key.id}"))


def test_reasons_to_discard_are_chosen_by_one_digit():
    assert all(len(key) == 1 and key.isdigit() for key in DISCARD_REASONS)


@pytest.mark.parametrize(
    ("key", "changes", "open_now"),
    [
        ("zero", {"phase": Phase.SLACK}, True),
        ("zero", {"phase": Phase.RISING}, False),
        ("zero", {"phase": Phase.SLACK, "live": False}, True),  # no zero yet: the force is unknown
        ("acknowledge", {"trip": Trip("silence", 1, float("nan"), "silence")}, True),
        ("acknowledge", {}, False),
        ("note", {"phase": Phase.PARTED}, True),
        ("note", {"phase": Phase.RISING}, False),
        ("mark", {"phase": Phase.RISING}, True),
        ("quit", {}, True),
    ],
)
def test_when_a_key_works(reading_at, key, changes, open_now):
    assert available(BY_ID[key], reading_at(**changes), cautions_due=False) is open_now


def test_cautions_are_confirmed_only_where_they_are_seen(reading_at):
    key = BY_ID["cautions"]
    assert available(key, reading_at(), cautions_due=True)
    assert not available(key, reading_at(live=False), cautions_due=True)
    assert not available(key, reading_at(), cautions_due=False)


def test_a_pull_is_judged_when_it_is_over(reading_at):
    assert not pull_ended(reading_at(pull_number=0, phase=Phase.SLACK))
    assert not pull_ended(reading_at(phase=Phase.FALLING))
    assert pull_ended(reading_at(phase=Phase.EASED))
