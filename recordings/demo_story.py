"""The story of the demo campaign: story.toml to a plan, attempts, and weights for calibrating."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np

from analysis.campaign_plan import (
    Board,
    Design,
    Plan,
    PlannedPull,
    factor_of,
    make_pulls,
    needed_per_level,
)
from analysis.plan_expectation import expect, read_expectation
from daq.force.calibration import Calibration
from daq.force.check_weight import Check
from daq.rig.rig import Rig
from simulators.scenario import Range, Scenario, read_scenario
from simulators.simulated_rig import load_simulated_rig

DEMO = Path(__file__).parent / "demo"
GRAVITY = 9.81247  # at 52 degrees

Specimen = Mapping[str, str | float]


@dataclass(frozen=True, slots=True)
class Attempt:
    """One pull of the story."""

    number: int
    begins: datetime
    specimen: Specimen
    scenario: Scenario
    max_n: float  # as believed
    mode: str
    reason: str = ""  # why invalid
    unplugged_at: float | None = None  # share of the maximum
    restart: bool = False

    @property
    def label(self) -> str:
        """What stands on the wood."""
        return str(self.specimen["label"])


def read_story() -> dict[str, Any]:
    """Return story.toml."""
    return tomllib.loads((DEMO / "story.toml").read_text("utf-8"))


def the_plan(story: Mapping[str, Any], rig: Rig) -> Plan:
    """Return the plan, with the first seed whose 14th pull is the one the story needs."""
    told = story["plan"]
    factors = (factor_of("pilot", told["pilot"]), factor_of("coating", told["coating"]))
    boards = tuple(Board(name, values) for name, values in told["board"].items())
    first_try = next(event for event in story["event"] if event["kind"] == "first try")

    def fits(pulls: tuple[PlannedPull, ...]) -> bool:
        levels = pulls[first_try["run"] - 1].levels
        return levels == {"pilot": told["pilot"][0], "coating": "dry"}

    for seed in range(1000):
        design = Design(factors, boards, told["replicates"], seed, told["fixed"])
        pulls = make_pulls(design)
        if fits(pulls):
            break
    cov, difference = told["cov_pct"] / 100, told["difference_pct"] / 100
    expectation = read_expectation(told["expect"])
    return Plan(
        design,
        tuple(expect(pull, expectation, rig.stop.stop_n) for pull in pulls),
        question=told["question"],
        decided=told["decided"],
        made=told["made"],
        expect=told["expect"],
        rig=f"{rig.name} build {rig.build}",
        stop_n=rig.stop.stop_n,
        cov=cov,
        difference=difference,
        needed_per_level=needed_per_level(cov, difference),
    )


def attempts(story: Mapping[str, Any], plan: Plan) -> list[Attempt]:
    """Return every pull in the order of the days."""
    numbered = [*_planned(story, plan), *_side_series(story)]
    return [replace(attempt, number=n) for n, attempt in enumerate(numbered, start=1)]


def _planned(story: Mapping[str, Any], plan: Plan) -> Iterator[Attempt]:
    told, events = story["plan"], {event["run"]: event for event in story["event"]}
    step = timedelta(minutes=story["campaign"]["minutes_between_pulls"])
    mornings = [_when(story, text) for text in told["mornings"]]
    clock = mornings[0]
    for pull in plan.pulls:
        if pull.run == told["second_morning_from_run"]:
            clock = mornings[1]
        event = events.get(pull.run, {})
        boards = list(told["board"])
        maxima = told["maxima_kn"][pull.levels["pilot"]][pull.levels["coating"]]
        usual = Attempt(
            number=0,
            begins=clock,
            specimen={**pull.specimen, "run": float(pull.run)},
            scenario=_scenario(story, "insert"),
            max_n=1000 * maxima[boards.index(pull.board)],
            mode=story["scenario"]["insert"]["mode"],
        )
        for attempt in _told(story, usual, event):
            yield replace(attempt, begins=clock)
            clock += step


def _told(story: Mapping[str, Any], usual: Attempt, event: Mapping[str, Any]) -> Iterator[Attempt]:
    """Yield the attempts at one pull of the list: usually one."""
    scenario = usual.scenario
    again = replace(usual, specimen={**usual.specimen, "label": event.get("spare_hole", "")})
    match event.get("kind"):
        case "crack":
            yield replace(usual, scenario=changed(scenario, "specimen", cracks=Range(1, 1)))
        case "first try":
            slips = _scenario(story, event["scenario"])
            bad = replace(usual, scenario=slips, max_n=1000 * event["max_kn"])
            yield replace(bad, mode=event["mode"], reason=event["reason"])
            yield again
        case "unplugged":
            yield replace(usual, unplugged_at=event["at_share"], reason=event["reason"], mode="")
            yield again
        case "restart":
            quiet = changed(scenario, "crank", quiet_before_s=Range(11, 11))
            yield replace(usual, scenario=quiet, restart=True)
        case "long rest":
            rest = Range(event["seconds"], event["seconds"])
            late = Range(event["from_share"], event["from_share"])
            pausing = changed(scenario, "crank", pause_s=rest, pause_from_share=late)
            yield replace(usual, scenario=pausing)
        case _:
            yield usual


def _side_series(story: Mapping[str, Any]) -> Iterator[Attempt]:
    step = timedelta(minutes=story["campaign"]["minutes_between_pulls"])
    for series in story["series"]:
        clock = _when(story, series["begins"])
        for pull in series["pulls"]:
            own = dict(pull)
            kind = own.pop("scenario", series["scenario"])
            mode, max_kn = own.pop("mode", series["mode"]), own.pop("max_kn")
            specimen = {"series": series["series"], **series["specimen"], **own}
            specimen["data"] = story["plan"]["fixed"]["data"]
            yield Attempt(0, clock, specimen, _scenario(story, kind), 1000 * max_kn, mode)
            clock += step


def _scenario(story: Mapping[str, Any], name: str) -> Scenario:
    told = story["scenario"][name]
    rate = story["campaign"]["samples_per_s"]
    table = {
        "kind": told["kind"],
        "mode": told["mode"],
        "specimen": {"strength_n": 1.0, **told["specimen"]},
        "rig": story["rig"],
        "crank": story["crank"] | told.get("crank", {}),
        "board": {"rate_hz": rate, **story["board"]},
    }
    return read_scenario(table, name, "story.toml")


def changed(scenario: Scenario, part: str, **ranges: Range) -> Scenario:
    """Return the scenario with ranges of one of its parts changed."""
    return replace(scenario, **{part: replace(getattr(scenario, part), **ranges)})


def _when(story: Mapping[str, Any], text: str) -> datetime:
    offset = timezone(timedelta(hours=story["campaign"]["utc_offset_h"]))
    return datetime.fromisoformat(text).replace(tzinfo=offset)


def check_lines(story: Mapping[str, Any], rig: Rig, calibration: Calibration) -> str:
    """Return the check weights as ``check-weights.jsonl`` keeps them."""
    told = story["check_weight"]
    lines = []
    for text, percent in told["error_pct"]:
        when = _when(story, text)
        expected_n = told["expected_n"]
        check = Check(when.timestamp(), expected_n, round(expected_n * (1 + percent / 100), 3))
        held = {
            "made_at": when.isoformat(),
            "rig": rig.name,
            "build": rig.build,
            "calibration": calibration.fingerprint,
            "weight": told["typed"],
            "expected_n": check.expected_n,
            "indicated_n": check.indicated_n,
            "tolerance": check.tolerance,
            "passed": check.passed,
        }
        lines.append(json.dumps(held))
    return "\n".join(lines) + "\n"


def ratio_line(story: Mapping[str, Any], rig: Rig) -> str:
    """Return the ratio check as it is kept beside the rig file."""
    held = dict(story["ratio_check"])
    held["made_at"] = _when(story, held["made_at"]).isoformat()
    return json.dumps({**held, "build": rig.build, "acknowledged": ""}) + "\n"


def weights_text(each_kg: float) -> str:
    """Return the points of the calibration: "5 kg" plates up and down, over the middle and sides.

    The counts are the same whatever the plates are said to weigh.
    """
    rng = np.random.default_rng(5)
    said = "of 5 kg each, by their own word" if each_kg == 5.0 else "weighed on a shop scale"
    true_rig = load_simulated_rig(DEMO / "rig.toml")
    plates_n = GRAVITY * 5 * read_story()["campaign"]["plates_weigh"]
    lines = [
        f"# Ossel Brook Workshop, invented. Plates {said}; the counts are those of 13 March.",
        "mass_kg,response_left,response_right,direction,series",
    ]
    whole, part = (0, 1, 2, 4, 6, 8), (0, 4, 8)
    for series, share, plates in (
        ("middle", 0.57, whole),
        ("left", 0.85, part),
        ("right", 0.15, part),
    ):
        for way, numbers in (("up", plates), ("down", plates[-2::-1])):
            for number in numbers:
                lag = 25 * (way == "down") * number / 8
                left, right = (
                    21500 + slope * part * number * plates_n + lag + rng.normal(0, 20)
                    for slope, part in zip(
                        true_rig.counts_per_newton, (share, 1 - share), strict=True
                    )
                )
                mass = f"{each_kg * number:g}"
                lines.append(f"{mass},{left:.0f},{right:.0f},{way},{series}")
    return "\n".join(lines) + "\n"
