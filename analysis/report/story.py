"""Everything the page says, as values: first the answers, then a section for each series."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.groups import sort_pulls
from analysis.plan_reading import PLAN, read_departures, read_plan
from analysis.report import rig_words
from analysis.report.answers import Wish
from analysis.report.budget import BudgetWords, budget_words
from analysis.report.evidence import Evidence, Shown
from analysis.report.rig_words import CalibrationWords, Correction, RigWords
from analysis.report.sections import Section, day_words, section_of
from analysis.report.wording import ForceUnit

TITLE = "Pulls of fasteners from wood"


@dataclass(frozen=True, slots=True, eq=False)
class Story:
    """The whole report."""

    title: str
    when: str
    unit: ForceUnit
    sections: tuple[Section, ...]
    calibrations: tuple[CalibrationWords, ...]
    checks: tuple[str, ...]
    corrections: tuple[Correction, ...]
    budget: BudgetWords | None
    rigs: tuple[RigWords, ...]
    evidence: Evidence
    programs: tuple[str, ...]


def tell(evidence: Evidence, plan: Path | None = None, wish: Wish | None = None) -> Story:
    """Return the report's content. ``plan`` is a plan folder.

    Raises InputFault for keys nobody recorded and for a plan that cannot be read.
    """
    wish = wish or Wish()
    results = [shown.result for shown in evidence.pulls]
    for key in filter(None, (*wish.by, wish.block)):
        sort_pulls(results, key)  # says which keys there are, where nobody recorded this one
    held = read_plan(plan) if plan else None
    departures = read_departures(plan) if plan else ()
    by_series: dict[str, list[Shown]] = {}
    for shown in evidence.pulls:
        by_series.setdefault(shown.series, []).append(shown)
    sections = tuple(
        section_of(number, name, pulls, held, departures, wish)
        for number, (name, pulls) in enumerate(by_series.items(), start=1)
    )
    names = list(by_series)
    return Story(
        title=names[0] if len(names) == 1 and names[0] else TITLE,
        when=_when(evidence.pulls),
        unit=wish.unit,
        sections=sections,
        calibrations=rig_words.calibrations(evidence, wish.unit),
        checks=rig_words.check_weights(evidence.pulls),
        corrections=rig_words.corrections(evidence.pulls, wish.unit),
        budget=budget_words(evidence, wish.unit),
        rigs=rig_words.rigs(evidence, wish.unit),
        evidence=evidence,
        programs=tuple(sorted({shown.program for shown in evidence.pulls})),
    )


def find_plan(paths: Sequence[Path]) -> Path | None:
    """Return the plan folder in, or beside, what is reported: the only one there is, or none."""
    folders = {path if path.is_dir() else path.parent for path in paths}
    found = {
        place.resolve(): place
        for folder in sorted(folders)
        for place in (folder, *sorted(child for child in folder.iterdir() if child.is_dir()))
        if (place / PLAN).is_file()
    }
    return next(iter(found.values())) if len(found) == 1 else None


def _when(pulls: Sequence[Shown]) -> str:
    first, last = pulls[0].started_at.date(), pulls[-1].started_at.date()
    if first == last:
        return day_words(first)
    same = [first.year == last.year, first.month == last.month]
    begin = f"{first.day}" if all(same) else day_words(first).removesuffix(f" {last.year}")
    return f"{begin} to {day_words(last)}"
