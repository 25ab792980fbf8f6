"""Laws of a plan: balance inside boards, seed, order, and the way through its folder."""

import string
import tempfile
from collections import Counter
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.campaign_plan import Board, Design, Plan, factor_of, make_pulls, next_pull
from analysis.plan_folder import write_plan
from analysis.plan_reading import read_plan

word = st.text(string.ascii_letters, min_size=1, max_size=6)


@st.composite
def designs(draw: st.DrawFn) -> Design:
    names = draw(st.lists(word, max_size=3, unique_by=str.casefold).map(tuple))
    levels = st.lists(word, min_size=2, max_size=3, unique=True)
    factors = tuple(factor_of(f"{name}_kind", draw(levels)) for name in names)
    boards = draw(st.lists(word, min_size=1, max_size=4, unique_by=str.casefold))
    values = st.dictionaries(st.just("density_kg_m3"), st.floats(300, 900), max_size=1)
    return Design(
        factors,
        tuple(Board(name, draw(values)) for name in boards),
        draw(st.integers(1, 3)),
        draw(st.integers(0, 2**63 - 1)),
        {"fastener": draw(word)},
    )


@given(designs())
@settings(max_examples=60, deadline=None)
def test_every_board_holds_every_combination_alike(design: Design) -> None:
    pulls = make_pulls(design)
    counts = Counter((pull.board, *sorted(pull.levels.items())) for pull in pulls)
    assert set(counts.values()) == {design.replicates}
    assert len({pull.label for pull in pulls}) == len(pulls)
    assert [pull.run for pull in pulls] == list(range(1, len(pulls) + 1))
    boards = [pull.board for pull in pulls]
    assert boards == sorted(boards, key=[board.name for board in design.boards].index)
    for factor in design.factors:
        levels = Counter(pull.levels[factor.name] for pull in pulls)
        assert min(levels.values()) >= design.pulls_per_level


@given(designs())
@settings(max_examples=30, deadline=None)
def test_a_seed_is_enough_to_make_the_list_again(design: Design) -> None:
    assert make_pulls(design) == make_pulls(design)


@given(designs(), st.data())
@settings(max_examples=30, deadline=None)
def test_a_folder_gives_back_the_plan(design: Design, data: st.DataObject) -> None:
    question = data.draw(st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"])))
    plan = Plan(design, make_pulls(design), question=question)
    with tempfile.TemporaryDirectory() as folder:
        write_plan(Path(folder) / "new", plan)
        back = read_plan(Path(folder) / "new")
    assert back.design == plan.design and back.question == question
    assert [p.specimen for p in back.pulls] == [p.specimen for p in plan.pulls]


@given(designs())
@settings(max_examples=30, deadline=None)
def test_following_the_list_meets_every_pull_once(design: Design) -> None:
    plan = Plan(design, make_pulls(design))
    done: list[str] = []
    while (pull := next_pull(plan, done)) is not None:
        done.append(pull.label)
    assert done == [pull.label for pull in plan.pulls]
