"""What the load path does with unknown limits, measured shares, several cells and a high stop."""

import math

import pytest

from daq.faults import InputFault
from daq.rig.load_path import at_ratio, load_path, stop_problems
from daq.rig.rig_file import read_rig, read_rig_text, with_value
from daq.rig.wood_stress import allowed_bearing, allowed_bending, find_species, low_density


@pytest.fixture
def rig(rig_text):
    return read_rig_text(rig_text, "rig.toml")


def by_name(path):
    return {part.name: part for part in path.parts}


def changed(rig_text, **keys):
    for key, value in keys.items():
        rig_text = with_value(rig_text, key.replace("__", "."), value)
    return read_rig_text(rig_text, "rig.toml")


def test_an_unknown_limit_is_listed_and_never_infinite(rig):
    path = load_path(rig)
    assert path.unknown == ("jack", "post")
    assert path.parts[-1].limit_at_specimen_n is None
    assert path.weakest.limit_at_specimen_n is not None


def test_no_beam_no_section_no_species_are_unknown(rig_text):
    bare = rig_text[: rig_text.index("[beam]")] + rig_text[rig_text.index("[[part]]") :]
    assert "beam" in load_path(read_rig_text(bare, "x")).unknown
    no_hole = rig_text.replace('hole = "12 mm"\nhole_offset = "12.5 mm"\n', "")
    unknown = load_path(read_rig_text(no_hole, "x")).unknown
    assert {"beam bearing at the hole", "beam splitting at the hole"} <= set(unknown)
    strange = read_rig_text(rig_text.replace('"beech, American"', '"maple"'), "x")
    bending = by_name(load_path(strange))["beam bending at the hole"]
    assert bending.limit_n is None
    assert "maple, sugar (hard)" in bending.source


def test_measured_shares_replace_the_assumption(rig):
    parts = by_name(load_path(rig, shares=(0.57, 0.43)))
    assert parts["cell left"].limit_at_specimen_n == pytest.approx(2 * 1961.33 / 0.57)
    assert parts["cell right"].limit_at_specimen_n == pytest.approx(2 * 1961.33 / 0.43)
    assert "57 %" in parts["cell left"].source


@pytest.mark.parametrize(("cells", "share"), [(1, 1.0), (2, 0.6), (3, 0.5), (4, 0.5)])
def test_the_worst_cell_by_number_of_cells(rig_text, cells, share):
    head, tail = rig_text[: rig_text.index("[[cell]]")], rig_text[rig_text.index("[lever]") :]
    names = [f"c{n}" for n in range(cells)]
    fields = ", ".join(f'"{name}"' for name in names)
    head = head.replace('"time_us", "left", "right"', fields)
    tables = [f'[[cell]]\nname = "{n}"\nfield = "{n}"\ncapacity = "1 kN"\n' for n in names]
    path = load_path(read_rig_text(head + "".join(tables) + tail, "x"))
    assert by_name(path)["cell c0"].limit_at_specimen_n == pytest.approx(2000.0 / share)


def test_a_stop_above_the_allowed_one_is_told_with_part_and_line(rig_text, tmp_path):
    file = tmp_path / "rig.toml"
    file.write_text(with_value(rig_text, "stop.stop", "6.3 kN"))
    rig = read_rig(file)
    (problem,) = stop_problems(rig)
    assert problem.file == str(file)
    assert file.read_text().split("\n")[problem.line - 1].startswith("stop =")
    assert "cell left" in problem.message
    assert "6.21 kN" in problem.message
    assert "60/40" in problem.message


def test_a_stop_of_exactly_095_of_the_limit_stands(rig_text):
    text = rig_text.replace('limit = "8.2 kN"', 'limit = "4.1 kN"')
    text = text.replace('stop = "6.2 kN"', 'stop = "3.895 kN"').replace('"5.2 kN"', '"3 kN"')
    rig = read_rig_text(text, "x")
    assert load_path(rig).weakest.name == "hook bolt"
    assert stop_problems(rig) == []
    higher = read_rig_text(text.replace("3.895 kN", "3.896 kN"), "x")
    assert len(stop_problems(higher)) == 1


def test_screws_weaker_than_the_wood_do_not_count(rig_text):
    weak = rig_text.replace(
        'diameter = "6 mm"\nlength_each_side', 'diameter = "2 mm"\nlength_each_side'
    )
    parts = by_name(load_path(read_rig_text(weak, "x")))
    assert "beam splitting at the hole" in parts
    assert "reinforcing screws, tension" not in parts
    strong = by_name(load_path(read_rig_text(rig_text, "x")))
    assert "beam splitting at the hole" not in strong
    assert strong["reinforcing screws, tension"].limit_n > strong["cell left"].limit_n


def test_screws_in_wood_of_unknown_density_are_unknown_and_the_wood_counts(rig_text):
    text = rig_text.replace('species = "beech, American"\ndensity = "680 kg/m3"\n', "")
    path = load_path(read_rig_text(text, "x"))
    assert "reinforcing screws, withdrawal" in path.unknown
    assert by_name(path)["beam splitting at the hole"].limit_n is not None


def test_pins_are_judged_where_they_act(rig):
    parts = by_name(load_path(rig))
    assert parts["hook pin, shear"].limit_at_specimen_n == pytest.approx(
        140 * 2 * 113.097, rel=1e-4
    )
    assert parts["hook pin, bending"].acts_at == "specimen"


def test_own_stresses_come_before_the_handbook(rig_text):
    beam = changed(rig_text, beam__allowed_bending="9 MPa", beam__allowed_bearing="5 MPa").beam
    assert allowed_bending(beam).value == 9.0
    assert allowed_bearing(beam).value == 5.0
    assert "as given" in allowed_bending(beam).source


def test_density_of_a_species_is_cut_to_its_low_end(rig_text):
    beam = read_rig_text(rig_text.replace('density = "680 kg/m3"\n', ""), "x").beam
    assert low_density(beam).value == pytest.approx(717 * (1 - 1.645 * 0.10))


def test_species_are_found_by_a_word_when_only_one_has_it():
    assert find_species("Beech").name == "beech, American"
    assert find_species("maple") is None
    assert find_species("c24").is_class
    assert find_species("EN 338 C24") is find_species("C24")
    assert find_species("") is None


def test_another_ratio_moves_the_hook(rig):
    assert at_ratio(rig, 3.0).lever.specimen_arm_mm == pytest.approx(134.0)
    for ratio in (0.0, -2.0, math.nan, math.inf, 0.5):
        with pytest.raises(InputFault, match="ratio"):
            at_ratio(rig, ratio)


def test_cautions_name_what_is_missing_or_wrong(rig_text):
    rig = read_rig_text(rig_text.replace('stiffness = "1.5 kN/mm"\n', ""), "x")
    assert load_path(rig).stored_energy_j is None
    assert any("stiffness" in words for words in load_path(rig).cautions)
    steep = changed(rig_text, jack__lead="20 mm")
    assert any("not self-locking" in words for words in load_path(steep).cautions)
    flat = changed(rig_text, lever__contact="flat")
    assert any("flat contact" in words for words in load_path(flat).cautions)
    assert any("pin friction" in words for words in load_path(flat).cautions)


def test_the_invented_rig_of_the_simulator_is_sound():
    """The two sides wrote their files apart; this one is read as it stands."""
    from pathlib import Path

    import simulators

    rig = read_rig(Path(simulators.__file__).parent / "rigs" / "ossel-brook-b4.toml")
    path = load_path(rig)
    assert path.weakest.name.startswith("cell")
    assert path.weakest.limit_at_specimen_n == pytest.approx(6540.0, abs=5.0)
    assert path.unknown == ()
    assert stop_problems(rig) == []
