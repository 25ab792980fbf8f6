"""Will the rig take it, for a person: the load path as a table, weakest first, and what it means.

Pure: rig and load path in, rich renderables out; the command line and the console show the same.
"""

import math
from collections.abc import Iterator

from rich import box
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from daq.rig.load_path import STOP_SHARE, LoadPath, PathPart
from daq.rig.rig import Rig
from daq.rig.stored_energy import energy_in_words
from daq.units import format_force

BAR_WIDTH = 10
USED, FREE, OVER = "█", "·", ">"

DEFERENCE = (
    "Home-built rig: these are estimates for the person who built it, no design values and no "
    "proof of safety. Local codes, machine-safety and workshop rules come first; where other "
    "people, money or law are involved, have a competent (where required licensed) person check it."
)
NOTICE = (
    "The stop is a notice on a screen: it cannot hold the crank, release a load or see a crack. "
    "Stay out of the line of fire, shield and tether on, wind back before you reach in."
)


def rig_page(
    rig: Rig, path: LoadPath, what_if: LoadPath | None = None, unit: str = "kN"
) -> list[RenderableType]:
    """Return the page: title, table, what it means, cautions. Forces in ``unit``."""
    paths = [path] if what_if is None else [path, what_if]
    lines = [line for one in paths for line in _meaning(one, unit)]
    cautions = [words for one in paths for words in one.cautions]
    return [
        _title(rig),
        _table(path, what_if, unit),
        *[_why(part) for part in path.parts],
        Text(),
        *[Text(line) for line in dict.fromkeys(lines)],
        *[Text(f"Caution: {words}.") for words in dict.fromkeys(cautions)],
        Text(NOTICE),
        Text(DEFERENCE),
    ]


def _title(rig: Rig) -> Text:
    lever = rig.lever
    where = "at the end" if lever.fulcrum == "end" else "between jack and hook"
    arms = f"{lever.jack_arm_mm:g} / {lever.specimen_arm_mm:g} mm"
    title = f"{rig.name}, build {rig.build}: lever {_ratio(lever.ratio)} ({arms}, fulcrum {where})"
    return Text(title, style="bold")


def _table(path: LoadPath, what_if: LoadPath | None, unit: str) -> Table:
    """Return what each part is good for at the specimen, and how much of it the stop uses."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column(f"at the specimen, {unit}", max_width=34)
    table.add_column(f"at {_ratio(path.ratio)}", justify="right")
    if what_if is not None:
        table.add_column(f"at {_ratio(what_if.ratio)}", justify="right")
    uses = "stop uses" if what_if is None else f"stop uses\nat {_ratio(path.ratio)}"
    table.add_column(uses, no_wrap=True)
    table.add_column("acts at")
    for part in path.parts:
        table.add_row(*_row(part, path, what_if, unit))
    return table


def _row(
    part: PathPart, path: LoadPath, what_if: LoadPath | None, unit: str
) -> Iterator[RenderableType]:
    style = "bold" if part is path.weakest else ""
    name = f"{part.name} (weakest)" if part is path.weakest else part.name
    yield Text(name, style=style)
    yield Text(_limit(part, unit), style=style)
    if what_if is not None:
        yield _beside(part, what_if, unit)
    yield Text(_bar(path.stop_n, part.limit_at_specimen_n))
    own = ""
    if part.acts_at != "specimen" and part.limit_n is not None:
        own = f", {format_force(part.limit_n, unit)}"
    yield Text(f"{part.acts_at}{own}")


def _why(part: PathPart) -> Text:
    return Text.assemble((part.name, "bold"), f": {part.source}")


def _beside(part: PathPart, what_if: LoadPath, unit: str) -> Text:
    """Return the same part's limit at the other ratio."""
    same = next((other for other in what_if.parts if other.name == part.name), None)
    if same is None:
        return Text("-")
    return Text(_limit(same, unit), style="bold" if same is what_if.weakest else "")


def _limit(part: PathPart, unit: str) -> str:
    limit = part.limit_at_specimen_n
    if limit is None:
        return "unknown"
    return "no load" if math.isinf(limit) else format_force(limit, unit, with_unit=False)


def _bar(stop_n: float, limit_n: float | None) -> str:
    """Return how much of a limit the stop uses, as a bar and in percent."""
    if limit_n is None:
        return "unknown"
    part = stop_n / limit_n
    used = min(BAR_WIDTH, round(part * BAR_WIDTH))
    bar = OVER * BAR_WIDTH if part > 1.0 else USED * used + FREE * (BAR_WIDTH - used)
    return f"{bar} {100.0 * part:.0f}%"


def _meaning(path: LoadPath, unit: str) -> Iterator[str]:
    """Yield what the table says, in sentences."""
    weakest, allowed = path.weakest, format_force(path.stop_allowed_n, unit)
    assert weakest.limit_at_specimen_n is not None
    good_for = format_force(weakest.limit_at_specimen_n, unit)
    yield f"At {_ratio(path.ratio)} the weakest known part is {weakest.name}: {good_for}."
    verdict = "stands" if path.stop_ok else "IS TOO HIGH: lower it, or make that part stronger"
    stop = format_force(path.stop_n, unit)
    yield f"Stop {stop}, allowed {allowed} ({STOP_SHARE:g} x the weakest): it {verdict}."
    if path.unknown:
        yield f"Unknown, so not counted and not safe to forget: {', '.join(path.unknown)}."
    if path.stored_energy_j is not None:
        words = energy_in_words(path.stored_energy_j)
        yield (
            f"At the stop the rig stores {path.stored_energy_j:.1f} J, {words}; twice the force "
            "stores four times as much."
        )
    yield from _effort(path)
    ratio = f"The ratio is known to {100.0 * path.u_ratio_rel:.2f} % (standard uncertainty)"
    yield f"{ratio}; pin friction takes {100.0 * path.friction_loss_rel:.2f} % of the force."


def _effort(path: LoadPath) -> Iterator[str]:
    effort = path.effort_at_stop
    if effort is None:
        return
    crank = "" if math.isnan(effort.crank_n) else f", {effort.crank_n:.0f} N on the crank"
    holds = "holds when you let go" if effort.self_locking else "RUNS BACK when you let go"
    yield (
        f"At the stop the jack asks {effort.torque_nmm / 1000.0:.1f} N m{crank}, and {holds} "
        f"(efficiency {effort.efficiency:.2f}). Suddenly stiff means binding, not strength."
    )


def _ratio(ratio: float) -> str:
    return f"{ratio:.3g}:1"
