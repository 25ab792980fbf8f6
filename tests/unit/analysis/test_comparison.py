"""Sorting, cautions and verdicts of a comparison, on small made-up pulls."""

import math
from pathlib import Path

import numpy as np
import pytest

from analysis.comparison import compare
from analysis.groups import level_words, sort_pulls
from analysis.pull_result import Kind, PullResult
from analysis.verdict import Bound, Verdict, pulls_to_settle
from daq.faults import InputFault

NAN = math.nan


def pull(force_n: float, kind: Kind = Kind.FAILED, mode: str = "withdrawal", **specimen):
    return PullResult(
        Path("made-up.h5"), specimen, kind, mode, force_n, 5.0, 10.0, 80.0, NAN, 0, NAN
    )


def two_levels(gap: float, n: int = 6, spread: float = 300.0, **more) -> list[PullResult]:
    steps = np.linspace(-1, 1, n) * spread
    return [
        *(pull(4000 + step, pilot_mm="8.0", **more) for step in steps),
        *(pull(4000 + gap + step, pilot_mm=8.5, **more) for step in steps),
    ]


def test_levels_that_read_as_numbers_are_numbers():
    """The text "8.0" and the number 8 are one level; names sort after numbers."""
    pulls = [pull(1, pilot_mm=text) for text in ("8.0", 8, "none", "10")]
    selection = sort_pulls(pulls, "pilot_mm")
    assert selection.levels == (8.0, 10.0, "none")
    assert [level_words(level) for level in selection.levels] == ["8", "10", "none"]


def test_pulls_without_the_key_are_counted_not_guessed():
    """A missing entry is no level of its own."""
    found = compare([*two_levels(0), pull(9999), pull(9999, pilot_mm="")], "pilot_mm")
    assert [group.n for group in found.groups] == [6, 6]
    assert any("2 valid pulls carry no" in line for line in found.warnings)


def test_an_unknown_key_names_the_nearest():
    """A slip of the pen is told with the key that was meant."""
    with pytest.raises(InputFault, match='nearest key there is: "pilot_mm"'):
        compare(two_levels(0), "pilot_m")
    with pytest.raises(InputFault, match="board"):
        compare(two_levels(0, board="A"), "pilot_mm", "bord")
    with pytest.raises(InputFault, match="is what is compared"):
        compare(two_levels(0), "pilot_mm", "pilot_mm")


def test_only_invalid_pulls_leave_nothing_to_compare():
    """Said in a sentence, not shown as an empty table."""
    with pytest.raises(InputFault, match="nothing to compare"):
        compare([pull(1, Kind.INVALID, pilot_mm=8)], "pilot_mm")


def test_a_level_with_only_invalid_pulls_still_has_its_row():
    """Nothing vanishes."""
    found = compare([*two_levels(0), pull(1, Kind.INVALID, pilot_mm=9)], "pilot_mm")
    assert [(group.n, group.n_invalid) for group in found.groups] == [(6, 0), (6, 0), (0, 1)]
    assert all(pair.verdict is Verdict.CANNOT_TELL for pair in found.pairs if pair.a == 9.0)


def test_a_force_that_is_not_known_is_counted_and_left_out():
    """NaN never reaches a mean."""
    found = compare([*two_levels(0), pull(NAN, pilot_mm=8)], "pilot_mm")
    assert found.groups[0].n == 6
    assert any("no maximum" in line for line in found.warnings)


def test_a_clear_difference_matters_and_a_bound_comes_first_when_stated():
    """A difference that is real but smaller than what matters to the person does not matter."""
    pulls = two_levels(-350, n=8, spread=150)
    found = compare(pulls, "pilot_mm").pairs[0]
    assert found.verdict is Verdict.MATTERS
    assert (found.needed, found.more) == (None, None)
    assert found.ratio == pytest.approx(3650 / 4000, rel=0.005)
    assert found.ratio_ci95[0] < found.ratio < found.ratio_ci95[1] < 1
    stated = compare(pulls, "pilot_mm", bound=Bound(force_n=600)).pairs[0]
    assert stated.verdict is Verdict.DOES_NOT
    assert "within 0.6 kN" in stated.sentence


def test_no_significant_difference_is_not_equivalence():
    """Few scattered pulls with the same mean: cannot tell, and how many would."""
    found = compare(two_levels(20, n=3, spread=600), "pilot_mm")
    pair = found.pairs[0]
    assert pair.verdict is Verdict.CANNOT_TELL
    assert pair.more == pair.needed - 3
    assert str(pair.needed) in pair.sentence
    assert found.needed_per_group == pair.needed


def test_pulls_to_settle_follow_the_difference_and_then_the_bound():
    """Half the difference needs four times the pulls; next to nothing is settled by the bound."""
    assert pulls_to_settle(300, 300, 400) == 17  # one SD at 80 %: table of the noncentral t
    assert pulls_to_settle(150, 300, 400) == pytest.approx(4 * 17, rel=0.08)
    assert pulls_to_settle(0, 300, 300) == 18  # +-1 SD, true difference 0
    assert pulls_to_settle(300, 0, 400) is None
    for times in (*np.arange(8, 40, 0.25), 1e3, 1e9):
        assert pulls_to_settle(300 * times, 300, 400) == 2


def test_fewer_than_three_failures_give_a_bound_only():
    """ ">= X" and no mean, no low end, no verdict."""
    pulls = two_levels(0)
    held = [pull(6200, Kind.AT_LEAST, "stopped whole", pilot_mm=7) for _ in range(3)]
    failed = [pull(5200, pilot_mm=7), pull(5400, pilot_mm=7)]
    found = compare([*pulls, *held, *failed], "pilot_mm")
    seven = found.groups[0]
    assert (seven.n, seven.n_at_least) == (5, 3)
    assert math.isnan(seven.mean_n)
    assert seven.at_least_n == pytest.approx((3 * 6200 + 5200 + 5400) / 5)
    assert any(">= 5.84 kN" in line for line in found.warnings)
    told = {(pair.a, pair.b): pair.verdict for pair in found.pairs}
    assert told[8.0, 7.0] is Verdict.CANNOT_TELL
    assert found.welch is None


def test_a_board_that_held_in_every_pull_says_nothing_about_a_difference():
    """It is counted in the groups, named, and left out of the blocked model."""
    rng = np.random.default_rng(3)
    pulls = [
        pull(4000 + rng.normal(0, 200), pilot_mm=pilot, board=board)
        for pilot in (8.0, 8.5)
        for board in "ABCD"
        for _ in range(2)
    ]
    held = [pull(6200, Kind.AT_LEAST, "", pilot_mm=at, board="E") for at in (8.0, 8.5)]
    with_held = compare([*pulls, *held], "pilot_mm", "board")
    without = compare(pulls, "pilot_mm", "board")
    assert with_held.groups[0].n_at_least == 1
    assert with_held.pairs[0].difference_n == pytest.approx(without.pairs[0].difference_n)
    assert any("board E ended whole" in line for line in with_held.warnings)


def test_a_level_in_one_board_only_raises_the_alarm():
    """Its difference may be the board's: no verdict without another board."""
    steps = (-100.0, 0.0, 100.0)
    pulls = [
        *(pull(4000 + step, pilot_mm=8.0, board="A") for step in steps),
        *(pull(3000 + step, pilot_mm=8.5, board="B") for step in steps),
    ]
    for block in (None, "board"):
        found = compare(pulls, "pilot_mm", block)
        assert any(line.startswith("ALARM") for line in found.warnings)
        assert found.pairs[0].verdict is Verdict.CANNOT_TELL
        assert "cut both levels from each board" in found.pairs[0].sentence


def test_boards_inside_a_level_count_once_each():
    """Ten holes in two boards are two trials of a species, not ten."""
    rng = np.random.default_rng(4)
    pulls = [
        pull(base + shift + rng.normal(0, 50), species=species, board=f"{species}{board}")
        for species, base in (("ash", 4000), ("larch", 3600))
        for board, shift in enumerate((-400, 0, 400))
        for _ in range(8)
    ]
    plain = compare(pulls, "species").pairs[0]
    nested = compare(pulls, "species", "board")
    assert plain.verdict is Verdict.MATTERS
    assert nested.pairs[0].verdict is Verdict.CANNOT_TELL
    assert "counts once" in nested.method
    assert nested.anova.df_within == 4


def test_unbalanced_boards_do_not_bend_a_difference():
    """Strong boards that happen to give more pulls of one level are taken out (algebra)."""
    boards = {"A": 0.0, "B": 500.0, "C": 1000.0}
    plan = [("A", 8.0, 4), ("A", 8.5, 1), ("B", 8.0, 2), ("B", 8.5, 2), ("C", 8.0, 1)]
    plan += [("C", 8.5, 4)]
    rng = np.random.default_rng(5)
    pulls = [
        pull(
            4000 + boards[board] - 200 * (level - 8.0) + rng.normal(0, 1),
            pilot_mm=level,
            board=board,
        )
        for board, level, n in plan
        for _ in range(n)
    ]
    assert compare(pulls, "pilot_mm").pairs[0].difference_n > 100  # the boards' doing
    blocked = compare(pulls, "pilot_mm", "board").pairs[0]
    assert blocked.difference_n == pytest.approx(-100, abs=3)


def test_mixed_modes_partial_pulls_and_lengths_are_said():
    """Different limits, doubtful maxima and unequal lengths are never pooled without a word."""
    pulls = two_levels(0, penetration_mm=14)
    pulls += [pull(3900, Kind.PARTIAL, "fastener fracture", pilot_mm=8, penetration_mm=20)]
    text = " ".join(compare(pulls, "pilot_mm").warnings)
    assert "withdrawal 12, fastener fracture 1" in text
    assert "Partial pulls, their maximum in doubt (see their flags): 1." in text
    assert "penetration_mm differs" in text


def test_a_value_that_stands_out_is_named_and_kept():
    """Grubbs flags it; the mean still holds it."""
    pulls = [*two_levels(0, n=8, spread=100), pull(1000, pilot_mm=8, label="D-07")]
    found = compare(pulls, "pilot_mm")
    assert found.groups[0].n == 9
    assert found.groups[0].mean_n == pytest.approx((8 * 4000 + 1000) / 9)
    assert any("Look at D-07" in line for line in found.warnings)


def test_adjustment_is_named_and_optional():
    """Density power 2 takes away a difference that density made; the rule is told."""
    pulls = [
        pull(4000 * (density / 650) ** 2 + step, pilot_mm=pilot, density_kg_m3=density)
        for pilot, density in ((8.0, 600), (8.5, 700))
        for step in (-60.0, 0.0, 60.0, 30.0)
    ]
    assert compare(pulls, "pilot_mm").pairs[0].verdict is Verdict.MATTERS
    adjusted = compare(pulls, "pilot_mm", adjust=["density-handbook-screw"])
    assert abs(adjusted.pairs[0].difference_n) < 5
    assert "Wood Handbook" in adjusted.adjustments[0]
    with pytest.raises(InputFault, match="not a rule"):
        compare(pulls, "pilot_mm", adjust=["density"])
    with pytest.raises(InputFault, match="moisture_pct"):
        compare(pulls, "pilot_mm", adjust=["moisture-ash"])


def test_a_single_level_is_shown_without_a_verdict():
    """A group alone still has its row."""
    found = compare([pull(4000 + i, pilot_mm=8) for i in range(4)], "pilot_mm")
    assert (len(found.groups), found.pairs, found.anova) == (1, (), None)


def test_a_break_is_found_among_many_pilots_with_boards_taken_out():
    """Flat to 8.2 mm, then falling: with eleven pilots in six boards it is identified."""
    rng = np.random.default_rng(8)
    pulls = [
        pull(
            4500 + shift - 1500 * max(pilot - 8.2, 0) + rng.normal(0, 120),
            pilot_mm=round(pilot, 2),
            board=board,
        )
        for board, shift in zip("ABCDEF", rng.normal(0, 400, 6), strict=True)
        for pilot in np.arange(7.0, 10.01, 0.5)
    ]
    found = compare(pulls, "pilot_mm", "board").plateau
    assert found.identified
    assert found.break_ci95[0] < 8.2 < found.break_ci95[1]
    assert found.slope < 0


def test_boards_themselves_can_be_compared():
    """Then a board is the level, not a caution."""
    pulls = [
        pull(base + step, board=board)
        for board, base in (("A", 4000), ("B", 3000))
        for step in (-90.0, 0.0, 90.0)
    ]
    found = compare(pulls, "board")
    assert found.pairs[0].verdict is Verdict.MATTERS
    assert not any("ALARM" in line or "--block" in line for line in found.warnings)


def test_pulls_without_any_scatter_do_not_break_the_sums():
    """Equal forces within the levels, and equal forces everywhere."""
    for gap in (0.0, -500.0):
        found = compare(two_levels(gap, n=4, spread=0.0), "pilot_mm")
        assert found.pairs[0].difference_n == gap
        assert found.pairs[0].verdict is (Verdict.MATTERS if gap else Verdict.DOES_NOT)
    held = [pull(5000, pilot_mm=9) for _ in range(3)] + [pull(5000, Kind.AT_LEAST, "", pilot_mm=9)]
    found = compare([*two_levels(0), *held], "pilot_mm")
    assert found.groups[2].at_least_n == 5000


def test_a_force_of_zero_or_less_leaves_only_its_logarithms_out():
    """No geometric mean, no low end, no ratio; everything else stands."""
    found = compare([*two_levels(0), pull(-5, pilot_mm=8)], "pilot_mm")
    assert math.isnan(found.groups[0].geometric_mean_n)
    assert math.isnan(found.groups[0].characteristic_n)
    assert math.isnan(found.pairs[0].ratio)
    assert math.isfinite(found.pairs[0].ci95_n[0])
    held = [pull(6000, Kind.AT_LEAST, "", pilot_mm=8), pull(-5, pilot_mm=8)]
    assert math.isfinite(compare([*two_levels(0), *held], "pilot_mm").groups[0].mean_n)


def test_another_varied_factor_is_taken_out_or_told():
    """Crossed with the levels it leaves the scatter; else it is named as a caution."""
    rng = np.random.default_rng(9)
    pulls = [
        pull(4000 + (800 if wax == "wax" else 0) + rng.normal(0, 60), pilot_mm=pilot, coating=wax)
        for pilot in (8.0, 8.5)
        for wax in ("dry", "wax")
        for _ in range(4)
    ]
    found = compare(pulls, "pilot_mm")
    assert "coating taken out" in found.method
    assert found.rest_sd_n < 120
    lone = compare(
        [pull for pull in pulls if pull.specimen["pilot_mm"] == 8.0] + pulls[-4:], "pilot_mm"
    )
    assert any("coating differs" in line for line in lone.warnings)
