"""Commands are found by a few letters; a replay finds only what it has."""

import pytest

from tui.find import find_keys
from tui.key_table import KEYS, At, known_at


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("zero", "zero"),
        ("zr", "zero"),
        ("pul", "pulls"),
        ("rig", "rig"),
        ("what if", "rig"),
        ("calib", "weights"),
        ("curves", "pulls"),
        ("PHOTO", "photo"),
    ],
)
def test_the_closest_comes_first(text, first):
    assert find_keys(text, At.RIG)[0].id == first


@pytest.mark.parametrize("at", At)
def test_nothing_typed_finds_all_in_the_order_of_the_table(at):
    assert find_keys("", at) == list(known_at(KEYS, at))


def test_nonsense_finds_nothing():
    assert find_keys("qqq", At.RIG) == []


def test_a_replay_has_no_zero():
    assert "zero" not in {key.id for key in find_keys("zero", At.REPLAY)}
