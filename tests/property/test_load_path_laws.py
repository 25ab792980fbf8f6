"""Laws of the load path: linear in the limits, never better than its weakest part."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.rig.load_path import at_ratio, load_path
from daq.rig.rig import Cell, Jack, Lever, Link, Part, Rig, Stop

forces = st.floats(10.0, 1e6)
places = st.sampled_from(["specimen", "jack", "cell", "fulcrum"])
listed = st.lists(st.tuples(st.one_of(st.none(), forces), places), min_size=1, max_size=6).map(
    lambda rows: tuple(Part(f"p{n}", limit, at, "x") for n, (limit, at) in enumerate(rows))
)


@st.composite
def rigs(draw):
    fulcrum = draw(st.sampled_from(["end", "between"]))
    specimen_arm = draw(st.floats(20.0, 500.0))
    ratio = draw(st.floats(1.01, 20.0))
    cells = draw(st.integers(1, 4))
    return Rig(
        name="any", build="1", link=Link(fields=("a",)),
        cells=tuple(Cell(f"c{n}", f"c{n}", draw(forces)) for n in range(cells)),
        lever=Lever(fulcrum, ratio * specimen_arm, specimen_arm),
        stop=Stop(draw(forces), 1.0), jack=Jack(4.0, draw(st.one_of(st.none(), forces))),
        parts=draw(listed),
    )  # fmt: skip


@given(rigs())
def test_no_known_part_lies_below_the_weakest_and_no_unknown_is_counted(rig):
    path = load_path(rig)
    known = [p.limit_at_specimen_n for p in path.parts if p.limit_at_specimen_n is not None]
    assert path.weakest.limit_at_specimen_n == min(known)
    assert known == sorted(known)
    assert len(known) + len(path.unknown) == len(path.parts)
    assert path.stop_allowed_n < path.weakest.limit_at_specimen_n


@given(rigs(), st.floats(0.1, 10.0))
def test_twice_the_limits_allow_twice_the_stop(rig, factor):
    scaled = replace(
        rig,
        cells=tuple(replace(c, capacity_n=factor * c.capacity_n) for c in rig.cells),
        parts=tuple(
            p if p.limit_n is None else replace(p, limit_n=factor * p.limit_n) for p in rig.parts
        ),
        jack=replace(rig.jack, capacity_n=rig.jack.capacity_n and factor * rig.jack.capacity_n),
    )
    allowed = factor * load_path(rig).stop_allowed_n
    assert load_path(scaled).stop_allowed_n == pytest.approx(allowed, rel=1e-9)


@given(rigs(), st.floats(1.01, 20.0))
def test_a_part_at_the_specimen_does_not_care_for_the_ratio(rig, ratio):
    moved = load_path(at_ratio(rig, ratio))
    limits = {p.name: p.limit_at_specimen_n for p in moved.parts}
    for part in rig.parts:
        if part.acts_at == "specimen":
            assert limits[part.name] == part.limit_n
        elif part.acts_at == "jack" and part.limit_n is not None:
            assert limits[part.name] == pytest.approx(part.limit_n * ratio, rel=1e-9)
