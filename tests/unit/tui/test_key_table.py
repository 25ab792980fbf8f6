"""One key, one meaning; the table is whole."""

import pytest

from analysis.pull_result import MODES
from daq.live_reading import Phase, Trip
from tui.console import Console
from tui.key_table import DISCARD_REASONS, KEYS, MODE_OF_KEY, available, pull_ended

BY_ID = {key.id: key for key in KEYS}


def test_no_key_means_two_things():
    pressed = [k for key in KEYS for k in (key.key, *key.also)] + list(MODE_OF_KEY)
    assert len(pressed) == len(set(pressed))


def test_every_mode_has_a_key():
    assert tuple(MODE_OF_KEY.values()) == MODES


def test_every_key_is_done_by_the_console():
    for key in KEYS:
        assert callable(getattr(Console, f"do_{key.id}"))


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
