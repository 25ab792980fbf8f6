"""The load path of an invented rig against worked examples; each origin beside its check.

"Worked example" numbers were computed by hand from the stated inputs, apart from this program.
"""

from dataclasses import replace

import pytest

from daq import units
from daq.rig.beam import (
    beam_forces,
    bearing_mpa,
    bending_mpa,
    crack_line_share,
    screws_tension_n,
    screws_withdrawal_n,
    shear_mpa,
    splitting_shear_n,
)
from daq.rig.load_path import at_ratio, load_path, stop_problems
from daq.rig.pin_strength import pin_bending_mpa, pin_shear_mpa
from daq.rig.rig import (
    Beam,
    Cell,
    Jack,
    Lever,
    Link,
    Part,
    Pin,
    ReinforcingScrews,
    Rig,
    Stop,
)
from daq.rig.screw_jack import jack_effort
from daq.rig.stored_energy import energy_in_words, stored_energy_j
from daq.rig.wood_stress import allowed_bending, allowed_shear, find_species

CAPACITY_N = units.parse_force_n("200 kgf")
LEVER = Lever("end", jack_arm_mm=402.0, specimen_arm_mm=201.0)
BEAM = Beam(
    breadth_mm=45.0, depth_mm=95.0, hole_mm=12.0, hole_offset_mm=12.5, loaded_edge_mm=60.0,
    species="beech", density_kg_m3=680.0,
)  # fmt: skip
SCREWS = ReinforcingScrews(count=2, diameter_mm=6.0, length_each_side_mm=30.0, core_mm=4.2)
JACK = Jack(
    lead_mm=4.0, capacity_n=5000.0, mean_diameter_mm=14.0, friction=0.15, collar_radius_mm=10.0,
    crank_mm=150.0,
)  # fmt: skip
RIG = Rig(
    name="invented",
    build="4",
    link=Link(fields=("left", "right")),
    cells=(Cell("left", "left", CAPACITY_N), Cell("right", "right", CAPACITY_N)),
    lever=LEVER,
    stop=Stop(stop_n=6200.0, warn_n=5200.0),
    jack=JACK,
    beam=BEAM,
    parts=(
        Part("bracket jaws", 9000.0, "specimen", "invented"),
        Part("hook bolt", 8200.0, "specimen", "invented"),
        Part("clamp screws", 7900.0, "specimen", "invented"),
    ),
    stiffness_n_per_mm=1500.0,
)


def limits_kn(rig):
    return {part.name: part.limit_at_specimen_n / 1000.0 for part in load_path(rig).parts}


@pytest.mark.parametrize(
    ("specimen_arm_mm", "bending", "shear", "bearing"),
    [(201.0, 10.0, 1.1, 12.0), (134.0, 13.3, 2.3, 18.0)],
)
def test_stresses_in_the_beam(specimen_arm_mm, bending, shear, bearing):
    """Worked example: 45 x 95 mm, 12 mm hole 12.5 off the middle, 3.27 kN at the jack."""
    lever = replace(LEVER, specimen_arm_mm=specimen_arm_mm)
    forces = beam_forces(3270.0 * lever.ratio, lever)
    assert bending_mpa(forces.moment_nmm, BEAM) == pytest.approx(bending, abs=0.05)
    assert shear_mpa(forces.shear_n, BEAM) == pytest.approx(shear, abs=0.05)
    assert bearing_mpa(forces.at_hole_n, BEAM) == pytest.approx(bearing, abs=0.2)


def test_elementary_beam_formulas():
    """6 M / (b h^2) and 1.5 V / (b h) on 38 x 89 mm: 23.9204 and 1.7741 N/mm2 (worked example)."""
    plain = Beam(breadth_mm=38.0, depth_mm=89.0)
    assert bending_mpa(1_200_000.0, plain) == pytest.approx(23.9204, abs=5e-5)
    assert shear_mpa(4000.0, plain) == pytest.approx(1.7741, abs=5e-5)


def test_fulcrum_between_bends_more():
    """M = F_j a_j at the fulcrum, which carries both forces (statics)."""
    forces = beam_forces(2000.0, replace(LEVER, fulcrum="between"))
    assert forces.moment_nmm == pytest.approx(1000.0 * 402.0)
    assert (forces.shear_n, forces.at_hole_n) == pytest.approx((2000.0, 3000.0))


def test_splitting_across_the_grain():
    """14 b sqrt(h_e / (1 - h_e/h)) for b 45, h 95, h_e 60: 8.0 kN (worked example)."""
    assert splitting_shear_n(BEAM) == pytest.approx(8040.0, abs=5.0)
    assert limits_kn(RIG)["beam splitting at the hole"] == pytest.approx(8.0, abs=0.05)
    three = limits_kn(at_ratio(RIG, 3.0))
    assert three["beam splitting at the hole"] == pytest.approx(6.0, abs=0.05)


def test_reinforcing_screws():
    """a = 0.63 -> 31 %; 7.3 kN each, 2.9 after 2.5; core 4.2 mm 5.5 kN at 400 (worked example)."""
    assert crack_line_share(BEAM) == pytest.approx(0.31, abs=0.005)
    one = replace(SCREWS, count=1)
    assert screws_withdrawal_n(one, 680.0) == pytest.approx(7300.0, abs=50.0)
    assert screws_withdrawal_n(SCREWS, 680.0) / 2.5 == pytest.approx(5800.0, abs=70.0)
    assert screws_tension_n(one) == pytest.approx(5540.0, abs=5.0)
    assert screws_tension_n(one, 530.0) == pytest.approx(7340.0, abs=10.0)


def test_screw_withdrawal_in_european_hardwood():
    """d 6, 40 mm less the point of 1.1 d, rho 690: 8.35 kN on pi d l (worked example)."""
    one = replace(SCREWS, count=1, length_each_side_mm=40.0 - 1.1 * 6.0)
    assert screws_withdrawal_n(one, 690.0) == pytest.approx(8350.0, abs=20.0)


def test_the_whole_list_at_two_to_one():
    """Cells 6.54 are the weakest; jaws 9.0, bolt 8.2, clamp 7.9, splitting 8.0, jack 10 kN."""
    limits = limits_kn(RIG)
    for name, limit in {
        "cell left": 6.54, "bracket jaws": 9.0, "hook bolt": 8.2, "clamp screws": 7.9,
        "beam splitting at the hole": 8.04, "jack": 10.0,
    }.items():  # fmt: skip
        assert limits[name] == pytest.approx(limit, abs=0.005), name
    path = load_path(RIG)
    assert path.weakest.name.startswith("cell")
    assert path.stop_allowed_n == pytest.approx(0.95 * 6537.8, abs=0.1)
    assert path.stop_ok  # the stop of 6.20 kN
    assert stop_problems(RIG) == []


def test_three_to_one_splits_the_plain_beam_first():
    """Cells allow 9.81, the beam splits at 6.0, less than today's 6.54 (worked example)."""
    three = load_path(at_ratio(RIG, 3.0))
    assert three.weakest.name == "beam splitting at the hole"
    assert limits_kn(at_ratio(RIG, 3.0))["cell left"] == pytest.approx(9.81, abs=0.005)
    assert not three.stop_ok


def test_three_to_one_with_screws_makes_the_clamp_weakest():
    """With two reinforcing screws the clamp screws, 7.9 kN, are weakest (worked example)."""
    reinforced = replace(RIG, beam=replace(BEAM, screws=SCREWS))
    three = load_path(at_ratio(reinforced, 3.0))
    assert three.weakest.name == "clamp screws"
    assert three.weakest.limit_at_specimen_n == pytest.approx(7900.0)
    gain = three.weakest.limit_at_specimen_n / load_path(RIG).weakest.limit_at_specimen_n
    assert gain == pytest.approx(1.21, abs=0.005)


def test_hook_pin():
    """Double shear and bending of a 12 mm pin at 6 kN, worked by hand from A and W."""
    pin = Pin("hook pin", "specimen", diameter_mm=12.0, middle_mm=45.0, side_mm=6.0, gap_mm=1.0)
    # F / (2 A) with A = 113.1 mm2; M = 3 kN x (3 + 1 + 11.25) mm, W = 169.6 mm3.
    assert pin_shear_mpa(6000.0, pin) == pytest.approx(26.53, abs=0.01)
    assert pin_bending_mpa(6000.0, pin) == pytest.approx(45_750.0 / 169.646, rel=1e-4)


def test_crank_and_self_locking():
    """Tr 16 x 4, mu 0.15, collar 10 mm: 3.25 N m per kN, 10.6 N m, 71 N, 0.20 (worked example)."""
    assert jack_effort(1000.0, JACK).torque_nmm == pytest.approx(3250.0, abs=5.0)
    effort = jack_effort(3270.0, JACK)
    assert effort.torque_nmm == pytest.approx(10_600.0, abs=50.0)
    assert effort.crank_n == pytest.approx(71.0, abs=0.5)
    assert effort.efficiency == pytest.approx(0.20, abs=0.005)
    assert effort.self_locking
    assert not jack_effort(3270.0, replace(JACK, lead_mm=16.0)).self_locking
    assert jack_effort(3270.0, replace(JACK, friction=None)) is None


@pytest.mark.parametrize(("stiffness_kn_mm", "energy_j"), [(3.0, 6.4), (1.5, 12.8), (0.8, 24.0)])
def test_energy_at_the_stop(stiffness_kn_mm, energy_j):
    """6.2 kN at 3, 1.5 and 0.8 kN/mm: 6.4, 12.8 and 24 J (worked example)."""
    assert stored_energy_j(6200.0, 1000.0 * stiffness_kn_mm) == pytest.approx(energy_j, abs=0.05)


def test_energy_in_words():
    """12.8 J is a 1 kg hammer dropped 1.3 m; 5 kN with 4 mm of stretch is 10 J (worked example)."""
    assert energy_in_words(12.8) == "like a 1 kg hammer dropped from 1.3 m"
    assert energy_in_words(0.5) == "like a 1 kg hammer dropped from 5 cm"
    assert energy_in_words(98.0) == "like a 5 kg hammer dropped from 2.0 m"
    assert stored_energy_j(5000.0, 5000.0 / 4.0) == pytest.approx(10.0)
    assert load_path(RIG).stored_energy_j == pytest.approx(12.8, abs=0.05)


def test_handbook_stress_is_cut_down():
    """Sugar maple 109 N/mm2 x (1 - 1.645 x 0.16) / 2.3 = 34.9 (worked example; factors memory)."""
    maple = allowed_bending(replace(BEAM, species="maple, sugar (hard)"))
    assert maple.value == pytest.approx(34.9, abs=0.05)
    assert "109 N/mm2 x 0.737 / 2.3" in maple.source


@pytest.mark.parametrize(
    ("name", "bending", "shear", "density"),
    [
        # USDA Wood Handbook, FPL-GTR-190 (2010), Table 5-3a, 12 % moisture, read second hand.
        ("beech, American", 103.0, 13.9, 717.0),
        ("Douglas-fir, coast", 85.0, 7.8, 538.0),
        ("spruce, Sitka", 70.0, 7.9, 448.0),
        ("hickory, shagbark", 139.0, 16.8, 806.0),
        # EN 338: characteristic values, read second hand.
        ("C24", 24.0, 4.0, 350.0),
    ],
)
def test_species_of_the_handbook(name, bending, shear, density):
    species = find_species(name)
    assert (species.bending_mpa, species.shear_mpa) == (bending, shear)
    assert species.density_kg_m3 == density


def test_a_strength_class_is_not_cut_like_a_mean():
    """C24: 24 x 0.9 / 1.3 = 16.6 and 4.0 x 0.67 x 0.9 / 1.3 = 1.86 N/mm2 (factors from memory)."""
    pine = replace(BEAM, species="C24")
    assert allowed_bending(pine).value == pytest.approx(16.6, abs=0.05)
    assert allowed_shear(pine).value == pytest.approx(1.86, abs=0.01)
