"""``pullstand compare``: does the factor matter, or is it scatter."""

import argparse
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.comparison import Comparison
    from analysis.groups import Group
    from analysis.verdict import Bound, PairVerdict


TEST = ("f", "p", "df_between", "df_within")
RANKS = ("h", "p", "df", "h_uncorrected", "tied")
SHARES = ("factor", "block", "other", "rest")
GROUP = (
    *("level", "n", "n_at_least", "n_invalid", "n_partial", "mean_n", "sd_n", "cov"),
    *("geometric_mean_n", "characteristic_n", "characteristic_rule", "at_least_n", "median_n"),
    *("needed_for_mean", "modes"),
)
PAIR = (
    *("a", "b", "difference_n", "p", "p_within_bound", "share", "ratio"),
    *("verdict", "sentence", "needed", "more"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare paths, the factor, boards, filters, the bound and named adjustments."""
    parser.add_argument("paths", nargs="+", type=Path, metavar="PATH", help="recording or folder")
    parser.add_argument(
        "--by", required=True, metavar="KEY", help="what is compared, such as pilot_mm"
    )
    parser.add_argument("--block", metavar="KEY", help="what pulls share, such as board")
    parser.add_argument(
        "--where", action="append", default=[], metavar="KEY=VALUE", help="only these (repeatable)"
    )
    parser.add_argument(
        "--bound", metavar="SIZE", help='largest difference that does not matter: "10 %%", "0.3 kN"'
    )
    parser.add_argument(
        "--adjust",
        action="append",
        default=[],
        metavar="RULE",
        help="bring forces to one density or moisture by a named rule (repeatable)",
    )


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    from analysis.campaign import load_results, parse_where
    from analysis.comparison import compare
    from analysis.verdict import USUAL_BOUND

    bound = USUAL_BOUND if args.bound is None else parse_bound(args.bound)
    results = load_results(args.paths, parse_where(args.where))
    found = compare(results, args.by, args.block, bound, args.adjust)
    if args.json:
        from tui.output import print_json

        print_json(comparison_document(found))
    else:
        from tui.compare_page import print_comparison

        print_comparison(found)
    return 0


def parse_bound(text: str) -> "Bound":
    """Return a bound such as ``10 %`` (of the mean) or ``0.3 kN``. Raises InputFault."""
    from analysis.verdict import Bound
    from daq.faults import InputFault
    from daq.units import parse_force_n

    try:
        if text.strip().endswith("%"):
            bound = Bound(percent=float(text.strip().removesuffix("%")))
            size = bound.percent
        else:
            bound = Bound(force_n=parse_force_n(text))
            size = bound.force_n
    except ValueError as error:
        raise InputFault(
            f'--bound {text!r}: {error}. Write a share of the mean ("10 %") or a force ("0.3 kN").'
        ) from None
    if not (math.isfinite(size) and size > 0):
        raise InputFault(f"--bound {text!r}: the bound must be above zero.")
    return bound


def comparison_document(found: "Comparison") -> dict[str, Any]:
    """Return a comparison as the JSON contract names its fields."""
    return {
        "by": found.by,
        "block": found.block,
        "method": found.method,
        "groups": [_group(group) for group in found.groups],
        "anova": _anova(found),
        "welch": _fields(found.welch, TEST),
        "kruskal_wallis": _fields(found.kruskal_wallis, RANKS),
        "pairs": [_pair(pair) for pair in found.pairs],
        "variance_share": _fields(found.variance_share, SHARES),
        "rest_sd_n": found.rest_sd_n,
        "bound_n": found.bound_n,
        "bound": found.bound.words,
        "bound_stated": found.bound.stated,
        "needed_per_group": found.needed_per_group,
        "plateau": _plateau(found),
        "adjustments": found.adjustments,
        "warnings": found.warnings,
    }


def _anova(found: "Comparison") -> dict[str, Any] | None:
    factor = _fields(found.anova, TEST)
    if factor is None:
        return None
    others = {name: _fields(test, TEST) for name, test in found.other_tests}
    return factor | {"block": _fields(found.block_test, TEST), "others": others}


def _group(group: "Group") -> dict[str, Any]:
    return {**_named(group, GROUP), "ci95_n": _interval(group.ci95_n)}


def _pair(pair: "PairVerdict") -> dict[str, Any]:
    return {
        **_named(pair, PAIR),
        "ci95_n": _interval(pair.ci95_n),
        "ci95_together_n": _interval(pair.ci95_together_n),
        "ratio_ci95": _interval(pair.ratio_ci95),
    }


def _plateau(found: "Comparison") -> dict[str, Any] | None:
    broken = found.plateau
    if broken is None:
        return None
    document = {"identified": broken.identified, "words": broken.words}
    if not broken.identified:
        return document
    return document | {
        "break_mm": broken.break_at,
        "break_ci95_mm": _interval(broken.break_ci95),
        "level_n": broken.level,
        "slope_n_per_mm": broken.slope,
    }


def _fields(record: object | None, names: Sequence[str]) -> dict[str, Any] | None:
    return None if record is None else _named(record, names)


def _named(record: object, names: Sequence[str]) -> dict[str, Any]:
    return {name: getattr(record, name) for name in names}


def _interval(ends: tuple[float, float]) -> list[float] | None:
    return list(ends) if all(map(math.isfinite, ends)) else None
