"""The demo campaign as evidence, read once; and a way to put anything into its pulls."""

from dataclasses import replace
from pathlib import Path

import pytest

from analysis.report.evidence import Evidence, gather

DEMO = Path(__file__).parents[4] / "recordings" / "demo"


@pytest.fixture(scope="package")
def evidence() -> Evidence:
    return gather([DEMO], {"series": "pull-through"})


@pytest.fixture
def altered(evidence):
    """Return a function: the evidence with other specimen entries, or other results, in each."""

    def make(specimen=None, **result) -> Evidence:
        pulls = tuple(
            replace(
                shown,
                result=replace(
                    shown.result, specimen={**shown.result.specimen, **(specimen or {})}, **result
                ),
            )
            for shown in evidence.pulls
        )
        return replace(evidence, pulls=pulls)

    return make
