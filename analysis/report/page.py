"""The page: the story set into one template; every text in it is inert."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.report import small_curves
from analysis.report.photos import Photo
from analysis.report.recompute import recompute_lines
from analysis.report.story import Story
from analysis.report.wording import percent
from daq.record.inert_text import inert
from daq.run_header import program_version

if TYPE_CHECKING:
    from jinja2 import Environment

#: Spaces that hold a number and its unit together; `inert` would spell them out.
NO_BREAK = "\u00a0\u202f"
LONGEST = 1_000  # characters of any one text from a recording
TEMPLATE, STYLE = "page.html.j2", "page.css"


def page(story: Story, photos: Sequence[Photo] = ()) -> str:
    """Return the whole page as text. The same story gives the same page."""
    return (
        _environment()
        .get_template(TEMPLATE)
        .render(
            story=story,
            photos=photos,
            version=program_version(),
            group_heads=_group_heads(story),
            recompute=_lines(recompute_lines(story.evidence)),
            straight=all(
                curve.is_line
                for calibration in story.evidence.calibrations.values()
                for curve in calibration.curves
            ),
        )
    )


def _environment() -> "Environment":
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    here = Path(__file__).parent
    environment = Environment(
        loader=FileSystemLoader(here),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=False,
        keep_trailing_newline=True,
    )
    # Charts, paths and pictures are made here and escape their own words; the style sheet is ours.
    environment.filters["ours"] = Markup
    environment.globals.update(
        style=Markup((here / STYLE).read_text("utf-8")),
        frame={
            "width": _number(small_curves.WIDTH),
            "height": _number(small_curves.HEIGHT),
            "left": _number(small_curves.LEFT),
            "right": _number(small_curves.RIGHT),
            "top": _number(small_curves.TOP),
            "bottom": _number(small_curves.BOTTOM),
        },
        percent=percent,
    )
    return environment


def _shown(value: Any) -> Any:
    """Return text without anything that steers a reader's eye or machine, and never endless."""
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, str) and not hasattr(value, "__html__"):
        if len(value) > LONGEST:
            return inert(value, LONGEST)
        return re.sub(rf"[^{NO_BREAK}]+", lambda found: inert(found.group()), value)
    return value


def _number(value: float) -> float:
    return int(value) if value == int(value) else value


def _lines(lines: Sequence[str]) -> Any:
    """Return lines of code with their line ends, each escaped."""
    from markupsafe import Markup, escape

    return Markup("\n").join(escape(inert(line, LONGEST)) for line in lines)


def _group_heads(story: Story) -> tuple[str, ...]:
    own = (f"mean, {story.unit.own}",) if story.unit.beside else ()
    return (
        *("level", "pulls", "at least", "invalid", "mean", *own, "95 % interval"),
        *("SD", "COV", "5 % low end", "pulls for ±10 %", "how they failed"),
    )
