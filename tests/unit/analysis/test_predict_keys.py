import json

import pytest

from analysis import thread
from analysis.predictions import ask, eurocode5, keys, species, wood_handbook
from analysis.predictions.prediction import DESIGN_CAUTION, KindOfValue, Prediction
from daq.faults import InputFault
from tui.cli import main


def predict(kind: str, *pairs: str) -> Prediction:
    return ask.predict(kind, keys.read_pairs(pairs))


def test_a_gauge_is_a_shank_not_a_drill() -> None:
    found = predict("wood-screw", "G12=0.5", "d=No. 10", "l=25 mm")
    assert found.value == pytest.approx(3267.8, rel=1e-4)
    assert any("SHANK" in words for words in found.warnings)


def test_a_penny_is_a_nail() -> None:
    assert predict("nail", "G12=0.5", "d=10d", "l_mm=50").value == pytest.approx(1798.6, rel=1e-4)


def test_quantities_and_plain_numbers_say_the_same() -> None:
    plain = predict("lag-screw", "G12=0.5", "d_mm=12.7", "l_mm=50.8")
    typed = predict("lag-screw", "G12=0.5", "d=1/2 in", "l=2 in")
    assert plain.value == pytest.approx(typed.value)


@pytest.mark.parametrize(
    ("pairs", "words"),
    [
        (("G21=0.5",), "nearest: G12"),
        (("dmm=5",), "nearest: d_mm"),
        (("G12=0.5", "G12=0.6"), "given twice"),
        (("d_mm=5", "d=5 mm"), "given twice"),
        (("d_mm=5 mm",), 'write d="5 mm"'),
        (("G12=nan",), "not a finite number"),
        (("d=5",), "has no unit"),
        (("d",), "write key=value"),
        (("source=handbok",), "nearest: handbook"),
    ],
)
def test_bad_keys_are_named(pairs: tuple[str, ...], words: str) -> None:
    with pytest.raises(InputFault, match=words):
        keys.read_pairs(pairs)


@pytest.mark.parametrize(
    ("kind", "pairs", "words"),
    [
        ("wod-screw", (), "nearest: wood-screw"),
        ("wood-screw", ("G12=0.5", "d_mm=5"), "needs l_mm="),
        ("wood-screw", ("d_mm=5", "l_mm=25"), "the wood is missing"),
        ("wood-screw", ("G12=450", "d_mm=5", "l_mm=25"), "not kg/m3"),
        ("wood-screw", ("G12=0.5", "d_mm=-5", "l_mm=25"), "above 0"),
        ("drift-bolt", ("source=ec5", "G12=0.5"), "gives nothing for drift-bolt"),
        ("wood-screw", ("source=handbook", "rho_k=350", "d_mm=5", "l_mm=25"), "5th percentile"),
        ("wood-screw", ("source=ec5", "G12=0.5", "d_mm=8", "l_mm=80"), "not converted"),
        ("wood-screw", ("density_kg_m3=500", "d_mm=5", "l_mm=25"), "needs moisture_pct"),
        ("wood-screw", ("source=nds", "G0=0.5", "d_mm=5", "grain=end"), "does not permit"),
        ("nail", ("G12=0.5", "d_mm=3", "l_mm=40", "grain=end"), "no one value"),
    ],
)
def test_refusals_say_what_to_do(kind: str, pairs: tuple[str, ...], words: str) -> None:
    with pytest.raises(InputFault, match=words):
        predict(kind, *pairs)


@pytest.mark.parametrize(
    ("kind", "pairs"),
    [
        ("wood-screw", ("G12=0.5", "d_mm=12", "l_mm=25")),  # no gauge
        ("wood-screw", ("G12=0.5", "d_mm=3.51", "l_mm=60")),  # longer than any No. 6
        ("wood-screw", ("G12=0.2", "d_mm=4.83", "l_mm=25")),  # lighter than any tabulated wood
        ("wood-screw", ("G12=0.5", "d_mm=4.83", "l_mm=25", "angle_deg=45")),
        ("wood-screw", ("G12=0.5", "d_mm=4.83", "l_mm=25", "root_mm=3", "pilot_mm=3")),
        ("wood-screw", ("G12=0.7", "d_mm=4.83", "l_mm=40", "root_mm=3", "fu_mpa=400")),
        ("wood-screw", ("source=ec5", "rho_k=350", "d_mm=5", "l_mm=60")),  # 6 <= d
        ("wood-screw", ("source=ec5", "rho_k=350", "d_mm=8", "l_mm=40")),  # 6 d
        ("wood-screw", ("source=ec5", "rho_k=350", "d_mm=8", "l_mm=80", "angle_deg=15")),
        ("wood-screw", ("source=ec5", "rho_k=350", "d_mm=8", "l_mm=80", "root_mm=7")),
        ("wood-screw", ("source=hardwood-study", "rho_k=350", "d_mm=8", "l_mm=80")),
        ("lag-screw", ("source=nds", "G0=0.5", "d_mm=40")),
        ("head-pull-through", ("source=nds", "G0=0.5", "head_mm=14", "t_mm=18")),
        ("nail", ("source=ec5", "rho_k=350", "d_mm=4", "l_mm=20")),  # under 8 d
    ],
)
def test_out_of_range_is_said(kind: str, pairs: tuple[str, ...]) -> None:
    found = predict(kind, *pairs)
    assert not found.valid
    assert any(words != DESIGN_CAUTION for words in found.warnings)


def test_within_range_is_valid_and_labelled() -> None:
    average = predict("wood-screw", "G12=0.5", "d_mm=4.83", "l_mm=25")
    assert average.valid and average.warnings == ()
    assert average.kind_of_value is KindOfValue.AVERAGE_ULTIMATE and average.unit == "N"
    design = predict("wood-screw", "source=nds", "G0=0.5", "d_mm=4.83")
    assert design.valid and design.unit == "N/mm" and DESIGN_CAUTION in design.warnings
    assert design.kind_of_value is KindOfValue.DESIGN_REFERENCE
    code = predict("wood-screw", "source=ec5", "rho_k=350", "d_mm=8", "l_mm=100", "root_mm=5.2")
    assert code.valid and code.warnings == (DESIGN_CAUTION,)
    assert code.kind_of_value is KindOfValue.CHARACTERISTIC


def test_the_basis_given_chooses_the_source() -> None:
    assert "NDS" in predict("lag-screw", "G0=0.5", "d_mm=12.7").source
    assert "EN 1995" in predict("lag-screw", "rho_k=350", "d_mm=12", "l_mm=80").source
    assert "Handbook" in predict("lag-screw", "G12=0.5", "d_mm=12.7", "l_mm=50").source


def test_conversion_is_done_with_a_word_about_it() -> None:
    own = predict("wood-screw", "G12=0.474834", "d_mm=4.83", "l_mm=25")
    other = predict("wood-screw", "source=handbook", "G0=0.50", "d_mm=4.83", "l_mm=25")
    assert other.value == pytest.approx(own.value, rel=1e-5)
    assert any("converted to G12" in words for words in other.warnings)


def test_a_weighed_board_gives_its_gravity() -> None:
    """560 kg/m3 at 12 % is 500 kg/m3 oven-dry mass: G12 0.500 by definition."""
    found = predict("wood-screw", "density_kg_m3=560", "moisture_pct=12", "d_mm=4.83", "l_mm=25")
    assert found.value == pytest.approx(3267.8, rel=1e-4)


def test_a_key_not_used_is_named() -> None:
    found = predict("wood-screw", "G12=0.5", "d_mm=4.83", "l_mm=25", "count=4", "t_mm=18")
    assert any("count, t_mm" in words for words in found.warnings)


def test_species_by_words() -> None:
    assert species.find("sugar maple").g12 == 0.63
    assert species.find("Douglas-fir").nds_g0 == 0.50
    assert species.find("C24").rho_k_kg_m3 == 350
    with pytest.raises(InputFault, match="fits several"):
        species.find("spruce")
    with pytest.raises(InputFault, match="not in the table"):
        species.find("balsa")
    with pytest.raises(InputFault, match="graded timber"):
        predict("wood-screw", "source=handbook", "species=C24", "d_mm=5", "l_mm=25")


def test_nds_takes_the_group_gravity_of_a_species() -> None:
    by_name = predict("lag-screw", "source=nds", "species=Douglas-fir", "d_mm=12.7")
    assert by_name.value == predict("lag-screw", "G0=0.50", "d_mm=12.7").value


def test_lead_holes_are_fractions_of_the_root() -> None:
    """Wood Handbook ch. 8: about 70 % of the root in softwoods, 90 % in hardwoods."""
    soft, hard = wood_handbook.screw_lead_holes(3.0)
    assert (soft.low_mm, hard.high_mm) == pytest.approx((2.1, 2.7))
    nds_low = keys.read_pairs(["source=nds", "G0=0.45", "d_mm=4.8", "root_mm=3"])
    nds_high = keys.read_pairs(["source=nds", "G0=0.65", "d_mm=4.8", "root_mm=3"])
    assert ask.lead_holes("wood-screw", nds_low) == ()
    assert ask.lead_holes("wood-screw", nds_high)[0].high_mm == pytest.approx(2.7)
    assert ask.lead_holes("wood-screw", keys.read_pairs(["G12=0.5", "d_mm=4.8"])) == ()


def test_a_short_nail_counts_for_nothing() -> None:
    assert eurocode5.smooth_nail(4.0, 20.0, 350.0).value == 0.0
    assert eurocode5.shallow_factor(3.0, 21.0, smooth=False) == pytest.approx(0.5)


def test_json_has_the_keys(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", "wood-screw", "G12=0.5", "d=No. 10", "l=25 mm", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert set(document) >= {"value", "unit", "source", "basis", "valid", "warnings"}
    assert document["kind_of_value"] == "average ultimate"
    assert document["inputs"] == {"G12": 0.5, "d_mm": 4.83, "l_mm": 25.0}


def test_json_of_a_force_per_length_has_the_total(capsys: pytest.CaptureFixture[str]) -> None:
    """AWC solved example E2.3: lag 1/2 in, G 0.55, 2.1875 in of thread: 954.97 lbf."""
    pairs = ["G0=0.55", "d=1/2 in", "l=2-3/16 in"]
    assert main(["predict", "lag-screw", "source=nds", *pairs, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["unit"] == "N/mm"
    assert document["total_n"] == pytest.approx(4247.94, rel=1e-4)


def test_words_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", "nail", "G12=0.9", "d=8d", "l_mm=40"]) == 0
    shown = capsys.readouterr().out
    assert "OUTSIDE the published range" in shown and "never judges a pull" in shown


def test_an_unknown_key_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", "nail", "diameter=3"]) == 2
    streams = capsys.readouterr()
    assert streams.out == "" and "diameter" in streams.err


def test_bite_is_capped_by_the_thread_depth() -> None:
    whole = thread.bite(10.0, 8.2, 7.0)
    assert whole.bite_mm == pytest.approx(0.9) and whole.capped
    assert whole.engagement_pct == pytest.approx(100)
    assert thread.bite(10.0, 8.2, 11.0).bite_mm == 0
    with pytest.raises(ValueError, match="smaller"):
        thread.bite(8.0, 8.2, 7.0)


@pytest.mark.parametrize("kind", ["wood-screw", "lag-screw", "nail", "head-pull-through"])
@pytest.mark.parametrize("source", ["handbook", "nds", "ec5", "hardwood-study"])
@pytest.mark.parametrize("size", ["1e-300", "0", "-1", "1e300"])
def test_absurd_sizes_give_a_value_or_a_sentence(kind: str, source: str, size: str) -> None:
    wood = {"handbook": "G12=0.5", "nds": "G0=0.5"}.get(source, "rho_k=350")
    sizes = [f"{key}={size}" for key in ("d_mm", "l_mm", "head_mm", "t_mm")]
    try:
        found = predict(kind, f"source={source}", wood, *sizes)
    except InputFault as fault:
        assert str(fault)
    else:
        assert not found.valid
