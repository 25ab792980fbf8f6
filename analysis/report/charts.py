"""Dots per group and differences with intervals, as SVG text that stands inside a page.

Drawn with matplotlib's Figure alone (no global state, no window). Text stays text. A mark's shape
says how a pull failed; nothing is said by hue.
"""

import io
import math
import re
import textwrap
import warnings
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from analysis.comparison import Comparison
from analysis.groups import Group, Level, Pull, level_words
from analysis.pull_result import Kind, PullResult
from analysis.report.wording import SIGN, WORD, ForceUnit, level_name
from daq.record.inert_text import inert
from daq.units import force_in

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN = 4.7
ROW_IN = 0.62
INK, SOFT, FAINT, ACCENT = "#1c1c1c", "#595959", "#c9c9c9", "#1f4e79"
#: Failure mode -> shape, in order of first use; a name beside each in the legend.
SHAPES = ("o", "^", "s", "D", "v", "P", "p", "h", "<", "d", "X")
CLEAR = {"facecolor": "white", "edgecolor": "none", "pad": 1.2}  # behind words that cross a line
WHOLE, LEFT_OUT = ">", "x"
LONGEST_LEVEL = 26
MOST_LEGEND = 60
SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "pullstand",
    "font.family": ["sans-serif"],
    "font.size": 9.5,
    "text.parse_math": False,
    "axes.linewidth": 0.6,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": INK,
    "xtick.labelcolor": INK,
    "path.simplify": False,
}


def mode_shapes(results: Sequence[PullResult]) -> dict[str, str]:
    """Return a shape for each failure mode among the valid pulls, in order of frequency."""
    counts: dict[str, int] = {}
    for result in results:
        if result.valid and not result.censored:
            counts[result.mode] = counts.get(result.mode, 0) + 1
    order = sorted(counts, key=lambda mode: (-counts[mode], mode))
    return {mode: SHAPES[place % len(SHAPES)] for place, mode in enumerate(order)}


def dots(
    found: Comparison,
    pulls: Sequence[Pull],
    left_out: Sequence[tuple[Level, float]],
    unit: ForceUnit,
    name: str,
) -> str:
    """Return every pull as a mark in the row of its level, mean and 95 % interval below it.

    ``left_out`` holds (level, force in N) of invalid pulls, drawn as crosses.
    """
    rows = len(found.groups)

    def draw(axes: "Axes") -> None:
        shapes = mode_shapes([pull.result for pull in pulls])
        places = {group.level: float(rows - row) for row, group in enumerate(found.groups)}
        _board_lines(axes, pulls, places, unit)
        for level, place in places.items():
            own = [pull for pull in pulls if pull.level == level]
            _row_of_dots(axes, own, shapes, place, unit)
        for where, force_n in left_out:
            at = force_in(force_n, unit.si)
            axes.plot([at], [places[where]], LEFT_OUT, color=SOFT, markersize=6)
        for group in found.groups:
            _mean(axes, group, places[group.level] - 0.33, unit)
        axes.set_yticks(list(places.values()))
        axes.set_yticklabels([_level_label(found.by, group) for group in found.groups])
        axes.set_ylim(0.4, rows + 0.5)
        _force_axis(axes, unit, "maximum at the specimen")
        _legend(axes, pulls, shapes, bool(left_out))

    title = f"Every pull by {found.by}"
    words = "; ".join(_group_words(found, group, unit) for group in found.groups)
    return _svg(draw, 0.95 + rows * ROW_IN + 0.16 * _legend_rows(pulls), name, title, words)


def differences(found: Comparison, unit: ForceUnit, name: str) -> str:
    """Return each pair's difference, its 95 % interval, and the bound that does not matter."""
    judged = [pair for pair in found.pairs if pair.estimate is not None]

    def draw(axes: "Axes") -> None:
        bound = force_in(found.bound_n, unit.si)
        if math.isfinite(bound):
            axes.axvspan(-bound, bound, color="#ececec", linewidth=0)
            label = f"within {found.bound.words}"
            axes.text(0, 0.53, label, ha="center", va="bottom", color=SOFT, size=8.5, bbox=CLEAR)
        axes.axvline(0, color=INK, linewidth=0.8)
        for row, pair in enumerate(judged):
            place = len(judged) - row
            low, high = (force_in(end, unit.si) for end in pair.ci95_n)
            axes.plot([low, high], [place, place], color=ACCENT, linewidth=2.2)
            axes.plot(
                [force_in(pair.difference_n, unit.si)], [place], "o", color=ACCENT, markersize=6.5
            )
            word = f"{SIGN[pair.verdict]} {WORD[pair.verdict]}"
            middle = (low + high) / 2
            axes.text(middle, place + 0.2, word, ha="center", va="bottom", size=8.5, bbox=CLEAR)
        axes.set_yticks([len(judged) - row for row in range(len(judged))])
        names = (
            "\nless ".join(_wrapped(level_name(found.by, level)) for level in (pair.a, pair.b))
            for pair in judged
        )
        axes.set_yticklabels(list(names))
        axes.set_ylim(0.4, len(judged) + 0.6)
        _force_axis(axes, unit, "difference of the means, with its 95 % interval")

    title = f"Differences between levels of {found.by}"
    words = "; ".join(
        f"{level_words(pair.a)} less {level_words(pair.b)}: {unit.words(pair.difference_n)}, "
        f"{WORD[pair.verdict]}"
        for pair in judged
    )
    return _svg(draw, 1.05 + len(judged) * ROW_IN, name, title, words) if judged else ""


def _row_of_dots(
    axes: "Axes", pulls: Sequence[Pull], shapes: dict[str, str], place: float, unit: ForceUnit
) -> None:
    """Draw marks side by side where they would lie on each other; partial ones are hollow."""
    taken: list[tuple[float, float]] = []
    span = max((pull.force_n for pull in pulls), default=1.0) * 0.018
    for pull in sorted(pulls, key=lambda pull: (pull.force_n, pull.result.file.name)):
        lift = 0.0
        while any(abs(pull.force_n - at) < span and lift == up for at, up in taken):
            lift = -lift if lift > 0 else -lift + 0.13
        taken.append((pull.force_n, lift))
        shape = WHOLE if pull.at_least else shapes[pull.result.mode]
        hollow = pull.result.kind is Kind.PARTIAL or pull.at_least
        at = force_in(pull.force_n, unit.si)
        face = "white" if hollow else ACCENT
        axes.plot([at], [place + lift], shape, mfc=face, mec=ACCENT, markersize=6, mew=1.1)
        if pull.at_least:
            axes.annotate(
                "", (at, place + lift), (16, 0), textcoords="offset points",
                arrowprops={"arrowstyle": "<-", "color": ACCENT, "lw": 1.1, "shrinkA": 0,
                            "shrinkB": 4},
            )  # fmt: skip


def _board_lines(
    axes: "Axes", pulls: Sequence[Pull], places: dict[Any, float], unit: ForceUnit
) -> None:
    """Link the mean of each board from level to level, thinly."""
    boards: dict[object, dict[object, list[float]]] = {}
    for pull in pulls:
        if pull.block is not None and not pull.at_least:
            boards.setdefault(pull.block, {}).setdefault(pull.level, []).append(pull.force_n)
    for means in boards.values():
        points = [
            (force_in(math.fsum(means[level]) / len(means[level]), unit.si), place)
            for level, place in places.items()
            if level in means
        ]
        if len(points) > 1:
            axes.plot(*zip(*points, strict=True), color=FAINT, linewidth=0.8, zorder=0.5)


def _mean(axes: "Axes", group: Group, place: float, unit: ForceUnit) -> None:
    if not math.isfinite(group.mean_n):
        return
    mean = force_in(group.mean_n, unit.si)
    if all(map(math.isfinite, group.ci95_n)):
        ends = [force_in(end, unit.si) for end in group.ci95_n]
        axes.plot(ends, [place, place], color=INK, linewidth=1.4)
    axes.plot([mean], [place], "|", color=INK, markersize=11, mew=2)


def _force_axis(axes: "Axes", unit: ForceUnit, words: str) -> None:
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)
    for label in axes.get_yticklabels():
        label.set_multialignment("right")
    axes.locator_params(axis="x", nbins=7)
    axes.grid(axis="x", color="#e6e6e6", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.set_xlabel(f"{words}, {unit.si}")
    if unit.beside:
        factor = force_in(1.0, unit.beside) / force_in(1.0, unit.si)
        ways: Any = (lambda at: at * factor, lambda at: at / factor)
        second = axes.secondary_xaxis("top", functions=ways)
        second.set_xlabel(unit.beside)
        second.spines["top"].set_visible(False)


def _legend(axes: "Axes", pulls: Sequence[Pull], shapes: dict[str, str], left_out: bool) -> None:
    from matplotlib.lines import Line2D

    def key(shape: str, words: str, face: str = ACCENT, edge: str = ACCENT) -> Line2D:
        text = inert(words or "mode not judged", MOST_LEGEND)
        return Line2D([], [], marker=shape, ls="", mfc=face, mec=edge, ms=6, label=text)

    keys = [key(shape, mode) for mode, shape in shapes.items()]
    if any(pull.at_least for pull in pulls):
        keys.append(key(WHOLE, "ended whole: at least this", "white"))
    if any(pull.result.kind is Kind.PARTIAL for pull in pulls):
        keys.append(key("o", "hollow: partial, see flags", "white"))
    if left_out:
        keys.append(key(LEFT_OUT, "invalid, not counted", edge=SOFT))
    keys.append(Line2D([], [], color=INK, lw=1.4, marker="|", ms=9, mew=2, label="mean, 95 %"))
    if any(pull.block is not None for pull in pulls):
        keys.append(Line2D([], [], color=FAINT, lw=1.0, label="same board"))
    axes.legend(
        handles=keys, loc="upper left", bbox_to_anchor=(0.0, -0.1), bbox_transform=axes.transAxes,
        ncols=2, frameon=False, fontsize=8.5, borderaxespad=2.2, handletextpad=0.5,
    )  # fmt: skip


def _legend_rows(pulls: Sequence[Pull]) -> int:
    modes = {pull.result.mode for pull in pulls}
    return math.ceil((len(modes) + 4) / 2)


def _level_label(key: str, group: Group) -> str:
    return f"{_wrapped(level_name(key, group.level))}\nn = {group.n}"


def _wrapped(name: str) -> str:
    plain = inert(name.replace("\u00a0", " "), 3 * LONGEST_LEVEL)
    lines = textwrap.wrap(plain, LONGEST_LEVEL) or [""]
    return "\n".join(lines[:3])


def _group_words(found: Comparison, group: Group, unit: ForceUnit) -> str:
    name = inert(level_name(found.by, group.level).replace("\u00a0", " "), 80)
    if math.isfinite(group.at_least_n):
        return f"{name}: {group.n} pulls, mean at least {unit.words(group.at_least_n)}"
    return f"{name}: {group.n} pulls, mean {unit.words(group.mean_n)}"


def _svg(draw: Any, height_in: float, name: str, title: str, words: str) -> str:
    """Return a figure as an SVG element with title and description; ``name`` makes ids its own."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()  # not by a person's own settings: the same pulls give the same chart
        mpl.rcParams.update(SETTINGS)
        # A letter that the measuring font lacks is still written as text.
        warnings.simplefilter("ignore", UserWarning)
        figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        draw(figure.add_subplot())
        return _inline(_text(figure), name, title, words)


def _text(figure: "Figure") -> str:
    out = io.StringIO()
    metadata = {"Date": None, "Creator": None, "Format": None, "Type": None}
    figure.savefig(out, format="svg", metadata=metadata, facecolor="white")
    return out.getvalue()


def _inline(text: str, name: str, title: str, words: str) -> str:
    text = text[text.index("<svg") :]
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'xlink:href="#', f'href="#{name}-', text)
    text = text.replace("url(#", f"url(#{name}-")
    text = re.sub(r"\s*<style.*?</style>", "", text, flags=re.DOTALL)
    text = re.sub(r"'DejaVu Sans'(, '[^']*')*, sans-serif", "sans-serif", text)
    head, rest = text.split(">", 1)
    size = re.search(r'viewBox="[^"]*"', head)
    opened = (
        f'<svg class="chart" role="img" {size.group() if size else ""} '
        f'aria-labelledby="{name}-title {name}-desc">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-desc">{escape(words)}</desc>'
    )
    return opened + rest
