"""Which formula serves which kind of fastener and source, and the keys it needs and takes."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import cast

from analysis.predictions import eurocode5, hardwood_study, nds, wood_handbook
from analysis.predictions.basis import Basis
from analysis.predictions.keys import Inputs
from analysis.predictions.prediction import Prediction
from daq.faults import InputFault


@dataclass(frozen=True, slots=True)
class Formula:
    """A published formula as it can be asked: ``call`` takes the wood in its basis and the keys."""

    basis: Basis
    needs: tuple[str, ...]
    takes: tuple[str, ...]
    call: Callable[[float, Inputs], Prediction]


def _grain(given: Inputs) -> wood_handbook.Grain:
    return "end" if given.word("grain") == "end" else "side"


def _handbook_screw(g12: float, given: Inputs) -> Prediction:
    tapping = given.words.get("tapping") == "yes"
    return wood_handbook.wood_screw(g12, given["d_mm"], given["l_mm"], _grain(given), tapping)


def _handbook_lag(g12: float, given: Inputs) -> Prediction:
    return wood_handbook.lag_screw(g12, given["d_mm"], given["l_mm"], _grain(given))


def _handbook_nail(g12: float, given: Inputs) -> Prediction:
    _side_grain_nail(given)
    return wood_handbook.smooth_nail(g12, given["d_mm"], given["l_mm"])


def _annular_nail(g0: float, given: Inputs) -> Prediction:
    _side_grain_nail(given)
    return wood_handbook.annular_nail(g0, given["d_mm"], given["l_mm"])


def _side_grain_nail(given: Inputs) -> None:
    if _grain(given) == "end":
        raise InputFault("grain: nails hold 50 to 75 % in end grain (from memory): no one value")


def _drift_bolt(g12: float, given: Inputs) -> Prediction:
    return wood_handbook.drift_bolt(g12, given["d_mm"], given["l_mm"])


def _lag_steel(_: float, given: Inputs) -> Prediction:
    return wood_handbook.lag_steel(given["root_mm"])


def _nds_screw(g0: float, given: Inputs) -> Prediction:
    if _grain(given) == "end":
        raise nds.side_grain_only("wood screw", "12.2.2.3")
    return nds.wood_screw(g0, given["d_mm"])


def _nds_lag(g0: float, given: Inputs) -> Prediction:
    return nds.lag_screw(g0, given["d_mm"], _grain(given))


def _nds_nail(g0: float, given: Inputs) -> Prediction:
    if _grain(given) == "end":
        raise nds.side_grain_only("nail", "12.2.3.3")
    return nds.nail(g0, given["d_mm"], cast(nds.Shank, given.word("shank")))


def _nds_head(g0: float, given: Inputs) -> Prediction:
    return nds.head_pull_through(g0, given["head_mm"], given["t_mm"])


def _ec5_screw(rho_k: float, given: Inputs) -> Prediction:
    return eurocode5.screw(
        given["d_mm"],
        given["l_mm"],
        rho_k,
        given.get("angle_deg", 90.0),
        given.get("count", 1.0),
        given.numbers.get("root_mm"),
    )


def _ec5_tested_screw(rho_k: float, given: Inputs) -> Prediction:
    return eurocode5.screw_from_test(
        given["f_ax_mpa"],
        given["rho_a"],
        given["d_mm"],
        given["l_mm"],
        rho_k,
        given.get("angle_deg", 90.0),
        given.get("count", 1.0),
    )


def _ec5_nail(rho_k: float, given: Inputs) -> Prediction:
    head, side = given.numbers.get("head_mm"), given.numbers.get("t_mm")
    return eurocode5.smooth_nail(given["d_mm"], given["l_mm"], rho_k, head, side)


def _ec5_tested_nail(_: float, given: Inputs) -> Prediction:
    head_strength, head = given.numbers.get("f_head_mpa"), given.numbers.get("head_mm")
    return eurocode5.profiled_nail(
        given["f_ax_mpa"], given["d_mm"], given["l_mm"], head_strength, head
    )


def _ec5_head(rho_k: float, given: Inputs) -> Prediction:
    return eurocode5.nail_head(given["head_mm"], rho_k)


def _ec5_tested_head(rho_k: float, given: Inputs) -> Prediction:
    return eurocode5.screw_head(
        given["f_head_mpa"], given["rho_a"], given["head_mm"], rho_k, given.get("count", 1.0)
    )


def _ec5_tension(_: float, given: Inputs) -> Prediction:
    return eurocode5.screw_tension(given["f_tens_n"], given.get("count", 1.0))


def _study_screw(rho_k: float, given: Inputs) -> Prediction:
    angle = given.get("angle_deg", 90.0)
    return hardwood_study.screw(rho_k, given["d_mm"], given["l_mm"], angle)


_SIZE = ("d_mm", "l_mm")
_CORE = ("root_mm", "fu_mpa")
_EC5_SCREW = Formula("rho_k", _SIZE, ("angle_deg", "count", *_CORE), _ec5_screw)
_EC5_TESTED_SCREW = Formula(
    "rho_k", ("f_ax_mpa", "rho_a", *_SIZE), ("angle_deg", "count", *_CORE), _ec5_tested_screw
)

#: Kind -> source -> formula; the first source of a kind is taken where the keys name none.
BY_KIND: Mapping[str, Mapping[str, Formula]] = {
    "wood-screw": {
        "handbook": Formula(
            "G12", _SIZE, ("grain", "tapping", "pilot_mm", *_CORE), _handbook_screw
        ),
        "nds": Formula("G0", ("d_mm",), ("l_mm", "grain", "root_mm"), _nds_screw),
        "ec5": _EC5_SCREW,
        "hardwood-study": Formula("rho_k", _SIZE, ("angle_deg", *_CORE), _study_screw),
    },
    "lag-screw": {
        "handbook": Formula("G12", _SIZE, ("grain", *_CORE), _handbook_lag),
        "nds": Formula("G0", ("d_mm",), ("l_mm", "grain"), _nds_lag),
        "ec5": _EC5_SCREW,
    },
    "nail": {
        "handbook": Formula("G12", _SIZE, ("grain", "shank"), _handbook_nail),
        "nds": Formula("G0", ("d_mm",), ("l_mm", "grain", "shank"), _nds_nail),
        "ec5": Formula("rho_k", _SIZE, ("head_mm", "t_mm", "shank"), _ec5_nail),
    },
    "head-pull-through": {
        "nds": Formula("G0", ("head_mm", "t_mm"), (), _nds_head),
        "ec5": Formula("rho_k", ("head_mm",), (), _ec5_head),
    },
    "drift-bolt": {"handbook": Formula("G12", _SIZE, (), _drift_bolt)},
    "screw-tension": {
        "handbook": Formula("none", ("root_mm",), (), _lag_steel),
        "ec5": Formula("none", ("f_tens_n",), ("count",), _ec5_tension),
    },
}

#: The handbook's annular nail: the one formula of its chapter on an oven-dry basis.
ANNULAR_NAIL = Formula("G0", _SIZE, ("grain", "shank"), _annular_nail)

#: EC5 formulas that work from a tested strength, taken where its key is given (nails: not smooth).
TESTED: Mapping[str, Formula] = {
    "wood-screw": _EC5_TESTED_SCREW,
    "lag-screw": _EC5_TESTED_SCREW,
    "nail": Formula(
        "none", ("f_ax_mpa", *_SIZE), ("f_head_mpa", "head_mm", "shank"), _ec5_tested_nail
    ),
    "head-pull-through": Formula(
        "rho_k", ("f_head_mpa", "rho_a", "head_mm"), ("count",), _ec5_tested_head
    ),
}
