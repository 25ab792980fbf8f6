"""What is compared when nobody says so: the plan's factor, else what sorts pulls into groups."""

from pathlib import Path

from analysis.campaign_plan import Design, Plan, board_of, factor_of
from analysis.pull_result import Kind, PullResult
from analysis.questions import Question, belongs, questions


def pull(kind=Kind.FAILED, force_n=4000.0, **specimen) -> PullResult:
    return PullResult(
        Path("x.h5"), specimen, kind, "withdrawal", force_n, 1.0, 2.0, 60.0, 3000.0, 0, 100.0
    )


def grid(**more) -> list[PullResult]:
    return [
        pull(label=f"{board}{pilot}{coat}", board=board, pilot_mm=pilot, coating=coat, **more)
        for board in "AB"
        for pilot in (8.0, 8.5)
        for coat in ("dry", "wax")
    ]


def plan(**fixed) -> Plan:
    factors = (factor_of("coating", ["dry", "wax"]), factor_of("pilot", ["8.0 mm", "8.5 mm"]))
    boards = tuple(board_of(name, {}) for name in "AB")
    return Plan(Design(factors, boards, 1, 1, fixed), ())


def test_what_a_person_asks_for_comes_first():
    found = questions(grid(), plan(), by=["board"])
    assert found == (Question("board", None, "as asked for"),)


def test_the_plans_factors_are_the_questions_and_boards_are_blocks():
    found = questions(grid(series="a"), plan(series="a"))
    assert [(q.by, q.block, q.why) for q in found] == [
        ("coating", "board", "the plan's factor"),
        ("pilot_mm", "board", "the plan's factor"),
    ]


def test_a_plan_of_other_pulls_says_nothing():
    assert not belongs(plan(series="b"), grid(series="a"))
    (found,) = questions(grid(series="a"), plan(series="b"))
    assert found.by == "pilot_mm"
    assert "no --by was given" in found.why
    assert "coating" in found.why


def test_entries_that_change_together_are_said_to():
    pulls = [
        pull(label=i, fastener=f, head_mm=h) for f, h in (("x", 9.5), ("y", 12.0)) for i in "ab"
    ]
    (found,) = questions(pulls)
    assert found.by == "fastener"
    assert "head_mm changes with it" in found.why


def test_boards_that_no_two_levels_share_are_no_blocks():
    pulls = [pull(board=f"{level}{i}", coating=level) for level in ("dry", "wax") for i in range(3)]
    (found,) = questions(pulls)
    assert found.block is None


def test_nothing_varied_nothing_compared():
    assert questions([pull(label=i, board="A") for i in "abc"]) == ()
    lone = [pull(coating="dry"), pull(coating="wax")]
    assert questions(lone) == ()


def test_invalid_pulls_make_no_level():
    pulls = [*[pull(coating="dry")] * 2, *[pull(Kind.INVALID, coating="wax")] * 2]
    assert questions(pulls) == ()
