"""A comparison for a person: verdicts first, then every pull as a dot, then the figures."""

import math
from collections.abc import Iterator, Sequence

from rich.box import SIMPLE_HEAD
from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from analysis.cautions import ALARM
from analysis.comparison import Comparison
from analysis.group_model import EffectTest
from analysis.groups import Group, level_words
from analysis.statistics.one_way import Welch
from analysis.verdict import Verdict

STRIP = 72  # columns of the dots
DOT, WHOLE, MEAN, REACH = "\u2022", ">", "|", "\u2500"
SIGN = {Verdict.MATTERS: "\u2260", Verdict.DOES_NOT: "\u2248", Verdict.CANNOT_TELL: "?"}


def print_comparison(found: Comparison) -> None:
    """Print the whole answer."""
    console = Console()
    for part in page(found):
        console.print(part)


def page(found: Comparison) -> Iterator[RenderableType]:
    """Yield the parts of the answer in the order of reading."""
    boards = f", {found.block} as block" if found.block else ""
    yield Text(f"Does {found.by} matter?{boards}", style="bold")
    yield from alarms(found)
    yield from verdicts(found)
    yield Text()
    yield dots(found.groups)
    yield groups_table(found)
    yield from figures(found)
    yield from warnings(found)


def alarms(found: Comparison) -> Iterator[Text]:
    """Yield what makes an answer worthless, before any answer."""
    for line in found.warnings:
        if line.startswith(ALARM):
            yield Text(f"! {line}", style="bold reverse")


def verdicts(found: Comparison) -> Iterator[Text]:
    """Yield a sentence per pair, its sign in front."""
    for pair in found.pairs:
        yield Text(f"{SIGN[pair.verdict]} {pair.sentence}", style="bold")
    if not found.pairs:
        yield Text("? Only one level: nothing to compare it with.", style="bold")


def dots(groups: Sequence[Group]) -> Text:
    """Return the pulls as dots on one scale: a dot a failure, > a pull that ended whole."""
    forces = [force for group in groups for force in group.forces_n]
    low, high = (min(forces), max(forces)) if forces else (0.0, 1.0)
    lines = []
    for group in groups:
        lines += [f"{level_words(group.level)}  ({_counts(group)})", strip(group, low, high)]
        lines.append(reach(group, low, high))
    ends = f"{low / 1000:.2f} kN", f"{high / 1000:.2f} kN"
    lines.append(ends[0] + ends[1].rjust(STRIP - len(ends[0])))
    legend = (
        f"{DOT} failed, digits: several   {WHOLE} ended whole   {REACH}{MEAN}{REACH} mean, 95 %"
    )
    return Text("\n".join([*lines, legend]))


def strip(group: Group, low: float, high: float) -> str:
    """Return one line of dots between ``low`` and ``high`` N."""
    failed, whole = [0] * STRIP, [0] * STRIP
    for force, held in zip(group.forces_n, group.whole, strict=True):
        (whole if held else failed)[_column(force, low, high)] += 1
    return "".join(map(_mark, failed, whole))


def reach(group: Group, low: float, high: float) -> str:
    """Return the line under the dots: the interval of the mean, cut at the ends of the scale."""
    if not math.isfinite(group.mean_n):
        return ""
    line = [" "] * STRIP
    ends = [end if math.isfinite(end) else group.mean_n for end in group.ci95_n]
    left, right = (_column(end, low, high) for end in ends)
    line[left : right + 1] = REACH * (right + 1 - left)
    line[_column(group.mean_n, low, high)] = MEAN
    return "".join(line)


def groups_table(found: Comparison) -> Table:
    """Return the table of groups, every pull counted."""
    table = Table(
        title=f"Groups by {found.by}, maximum at the specimen in kN",
        box=SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    for name in ("level", "n", "at\nleast", "in-\nvalid", "mean", "95 %\ninterval", "SD", "COV"):
        table.add_column(name, justify="right", no_wrap=name != "level", overflow="fold")
    for name in ("geom.\nmean", "5 %\nlow end", "n for\n\u00b110 %"):
        table.add_column(name, justify="right", no_wrap=True)
    for group in found.groups:
        mean = _kn(group.mean_n)
        if math.isfinite(group.at_least_n):
            mean = f"\u2265 {_kn(group.at_least_n)}"
        table.add_row(
            Text(level_words(group.level)),
            str(group.n),
            str(group.n_at_least),
            str(group.n_invalid),
            mean,
            "..".join(map(_kn, group.ci95_n)) if math.isfinite(group.ci95_n[0]) else "-",
            _kn(group.sd_n),
            f"{group.cov:.0%}" if math.isfinite(group.cov) else "-",
            _kn(group.geometric_mean_n),
            _kn(group.characteristic_n),
            str(group.needed_for_mean or "-"),
        )
    return table


def figures(found: Comparison) -> Iterator[Text]:
    """Yield the tests, the shares of the variance, the break and how it was all done."""
    plain = not (found.other_tests or found.block_test)
    yield Text(f"Model: {found.method}.")
    if found.anova:
        tests = [(found.by, found.anova), *found.other_tests]
        if found.block_test and found.block:
            tests.append((found.block, found.block_test))
        yield Text("; ".join(_test(name, test) for name, test in tests) + ".")
    if found.welch and plain:
        yield Text(_test("Welch", found.welch) + ".")
    if found.kruskal_wallis and plain:
        ranks = found.kruskal_wallis
        ties = f", {ranks.tied} values tied (corrected)" if ranks.tied else ", no ties"
        yield Text(f"Ranks (Kruskal-Wallis): H {ranks.h:.2f}, p {_p(ranks.p)}{ties}.")
    if found.variance_share:
        share = found.variance_share
        for name, part in (
            (found.by, share.factor),
            (found.block if found.block_test else "", share.block),
            ("other factors", share.other),
            ("rest", share.rest),
        ):
            if name and (part > 0 or name in (found.by, found.block)):
                bar = "\u2588" * round(part * 30)
                yield Text(f"{name[:14]:>14} {bar} {part:.0%} of the variance")
    if found.plateau:
        yield Text(f"Force against pilot: {_break(found)}.")
    for line in found.adjustments:
        yield Text(line)
    rules = dict.fromkeys(group.characteristic_rule for group in found.groups)
    for rule in rules:
        levels = [level_words(at.level) for at in found.groups if at.characteristic_rule == rule]
        yield Text(f"5 % low end of {', '.join(levels)}: {rule}.", style="dim")


def warnings(found: Comparison) -> Iterator[Text]:
    """Yield the cautions that are not alarms."""
    for line in found.warnings:
        if not line.startswith(ALARM):
            yield Text(f"! {line}")


def _break(found: Comparison) -> str:
    broken = found.plateau
    if broken is None or not broken.identified:
        return broken.words if broken else ""
    low, high = broken.break_ci95
    return (
        f"flat at {broken.level / 1000:.2f} kN up to {broken.break_at:.2f} mm "
        f"({low:.2f} .. {high:.2f}), then {broken.slope / 1000:+.2f} kN per mm"
    )


def _counts(group: Group) -> str:
    parts = [f"n {group.n}"]
    if group.n_at_least:
        parts.append(f"{group.n_at_least} ended whole")
    if group.n_invalid:
        parts.append(f"{group.n_invalid} invalid")
    parts += [f"{mode} {count}" for mode, count in sorted(group.modes.items())]
    return ", ".join(parts)


def _column(force: float, low: float, high: float) -> int:
    place = (force - low) / (high - low) if high > low else 0.5
    return min(STRIP - 1, max(0, round(place * (STRIP - 1))))


def _mark(failed: int, whole: int) -> str:
    if failed + whole > 1:
        return str(min(failed + whole, 9))
    return DOT if failed else WHOLE if whole else " "


def _test(name: str, test: EffectTest | Welch) -> str:
    return f"{name}: F {test.f:.3g} on {test.df_between:g} and {test.df_within:.4g}, p {_p(test.p)}"


def _p(p: float) -> str:
    return "< 0.001" if p < 0.001 else f"{p:.3f}"


def _kn(force_n: float) -> str:
    return f"{force_n / 1000:.2f}" if math.isfinite(force_n) else "-"
