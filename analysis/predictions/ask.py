"""Asking for a prediction by kind and keys."""

from analysis.predictions import nds, wood_handbook
from analysis.predictions.basis import WOOD_KEYS, wood_in
from analysis.predictions.formulas import ANNULAR_NAIL, BY_KIND, TESTED, Formula
from analysis.predictions.keys import Inputs, unknown
from analysis.predictions.prediction import LeadHole, Prediction
from daq.faults import InputFault


def predict(kind: str, inputs: Inputs) -> Prediction:
    """Return the published value for a kind of fastener.

    Raises:
        InputFault: unknown kind or source, a key that is needed and missing, or a basis refused.
    """
    source = source_of(kind, inputs)
    formula = _formula(kind, source, inputs)
    missing = [key for key in formula.needs if key not in inputs.numbers]
    if missing:
        raise InputFault(f"{kind}, source={source}: needs {', '.join(k + '=' for k in missing)}")
    wood, notes = wood_in(formula.basis, inputs)
    taken = {"source", "species", *formula.needs, *formula.takes}
    idle = [key for key in inputs.given() if key not in taken and key not in WOOD_KEYS]
    if idle:
        notes = (*notes, f"not used by this formula: {', '.join(idle)}")
    found = _screw_checks(formula.call(wood, inputs), kind, source, inputs)
    if "angle_deg" in idle and inputs["angle_deg"] != 90.0:
        found = found.noting("the formula is for a fastener at 90 deg to the grain", valid=False)
    return found.noting(*inputs.notes, *notes)


def source_of(kind: str, inputs: Inputs) -> str:
    """Return the source asked for, else the one of this kind whose basis was given."""
    sources = BY_KIND.get(kind)
    if sources is None:
        raise InputFault(f'"{kind}": a kind of fastener {unknown(kind, tuple(BY_KIND))}')
    asked = inputs.words.get("source")
    if asked is None:
        fits = (name for name, f in sources.items() if f.basis in inputs.numbers)
        return next(fits, next(iter(sources)))
    if asked not in sources:
        raise InputFault(
            f"source: {asked} gives nothing for {kind}; there is {' and '.join(sources)}"
        )
    return asked


def lead_holes(kind: str, inputs: Inputs) -> tuple[LeadHole, ...]:
    """Return the lead-hole advice that the keys allow; a wood screw needs its measured root_mm."""
    if kind == "lag-screw" and "d_mm" in inputs.numbers:
        return wood_handbook.lag_lead_holes(inputs.numbers["d_mm"])
    if kind != "wood-screw" or "root_mm" not in inputs.numbers:
        return ()
    root = inputs.numbers["root_mm"]
    if source_of(kind, inputs) != "nds":
        return wood_handbook.screw_lead_holes(root)
    advice = nds.lead_hole(wood_in("G0", inputs)[0], root)
    return () if advice is None else (advice,)


def _formula(kind: str, source: str, inputs: Inputs) -> Formula:
    if kind == "nail" and source == "handbook":
        shank = inputs.word("shank")
        if shank == "stainless":
            raise InputFault("shank: the handbook has smooth and annular; stainless is source=nds")
        return ANNULAR_NAIL if shank == "annular" else BY_KIND[kind][source]
    tested = TESTED.get(kind) if source == "ec5" else None
    if tested is None:
        return BY_KIND[kind][source]
    wanted = (
        inputs.word("shank") != "smooth" if kind == "nail" else tested.needs[0] in inputs.numbers
    )
    return tested if wanted else BY_KIND[kind][source]


def _screw_checks(found: Prediction, kind: str, source: str, inputs: Inputs) -> Prediction:
    """Add what root and lead hole tell: does the core break first, was the hole as published."""
    root, fu = inputs.numbers.get("root_mm"), inputs.numbers.get("fu_mpa")
    if root is None or not kind.endswith("screw"):
        return found
    if fu is None and kind == "lag-screw":
        fu = wood_handbook.LAG_STEEL_ULTIMATE_MPA
    if fu is not None and found.unit == "N":
        core = wood_handbook.tension(root, fu) * inputs.numbers.get("count", 1.0)
        if core < found.value:
            found = found.noting(
                f"the core breaks at about {core:.0f} N ({fu:g} N/mm2 on {root:g} mm), before this",
                valid=False,
            )
    if kind == "wood-screw" and source == "handbook" and "pilot_mm" in inputs.numbers:
        words = wood_handbook.lead_hole_words(inputs["pilot_mm"], root)
        return found.noting(words, valid=False) if words else found
    return found
