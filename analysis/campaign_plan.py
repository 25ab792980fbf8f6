"""A plan of pulls: every level inside every board, replicates, a shuffled order, labels. Pure.

A board is a block: boards differ, so levels are compared inside them. The order inside each board
is shuffled so that a drift over the day cannot pass for an effect. Holes are numbered along the
board in the order of the list, which puts the levels at random places too.
"""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np

from daq import units
from daq.faults import InputFault
from daq.record.inert_text import runs_in_sheet

Values = Mapping[str, str | float]
MOST_PULLS = 10_000
SHUFFLE = (
    "inside each board, in the order of the boards, by one 64-bit draw for each pull from PCG64 "
    "(numpy) seeded with the seed; the smallest draw comes first"
)
_PLAIN_SUFFIXES = ("_mm", "_pct", "_kg_m3", "_mpa", "_n", "_deg", "_s")
_PLAIN_KEYS = ("G12", "G0", "Gb", "rho_k")


@dataclass(frozen=True, slots=True)
class Level:
    """One setting of a factor: as typed, and the specimen keys it sets."""

    text: str
    values: Values


@dataclass(frozen=True, slots=True)
class Factor:
    """What is varied, and its settings."""

    name: str
    levels: tuple[Level, ...]


@dataclass(frozen=True, slots=True)
class Board:
    """A board (block) and what is known of it."""

    name: str
    values: Values = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Design:
    """What a plan is made of."""

    factors: tuple[Factor, ...]
    boards: tuple[Board, ...]
    replicates: int  # of each combination of levels in each board
    seed: int
    fixed: Values = field(default_factory=dict)

    @property
    def pulls_per_level(self) -> int:
        """Pulls at one level of the factor with the most levels (all boards together)."""
        each = self.replicates * len(self.boards)
        sizes = [len(factor.levels) for factor in self.factors]
        return each * math.prod(sizes) // max(sizes, default=1)


@dataclass(frozen=True, slots=True)
class PlannedPull:
    """One pull of the list. ``specimen`` holds every key that its recording will carry."""

    label: str
    run: int
    board: str
    replicate: int
    levels: Mapping[str, str]  # factor -> level as typed
    specimen: Values
    expected_n: float = math.nan
    expected_of_stop: float = math.nan
    expected_note: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan: why, what, in which order."""

    design: Design
    pulls: tuple[PlannedPull, ...]
    question: str = ""
    decided: str = ""  # before looking at any result
    made: str = ""  # date and time, ISO 8601
    expect: str = ""
    rig: str = ""
    stop_n: float = math.nan
    cov: float = math.nan
    difference: float = math.nan
    needed_per_level: int | None = None


def read_factor(text: str) -> Factor:
    """Return the factor of "pilot=8.0 mm,8.5 mm": name and two levels at least.

    Raises:
        InputFault: no name, fewer than two levels, or a level named twice.
    """
    name, sign, listed = text.partition("=")
    if not sign or not name.strip():
        raise InputFault(f'factor "{text}": write name=level,level, such as "pilot=8.0 mm,8.5 mm"')
    return factor_of(name.strip(), [part.strip() for part in listed.split(",")])


def factor_of(name: str, texts: Sequence[str]) -> Factor:
    """Return a factor from its name and its levels as typed; faults as in `read_factor`."""
    if len(texts) < 2 or not all(texts):
        raise InputFault(
            f"factor {name}: two levels at least, none empty; what does not vary is a --fixed"
        )
    levels = tuple(Level(text, specimen_values(name, text)) for text in texts)
    for at, level in enumerate(levels):
        if any(_setting(level) == _setting(other) for other in levels[:at]):
            raise InputFault(f'factor {name}: the level "{level.text}" stands twice')
    if len({tuple(level.values) for level in levels}) > 1:
        raise InputFault(f"factor {name}: every level needs a unit, or none")
    return Factor(name, levels)


def _setting(level: Level) -> Values:
    """Return what a level sets, however it was typed."""
    return {key: value for key, value in level.values.items() if key != "drill"}


def read_board(text: str) -> Board:
    """Return the board of "A" or "A: density_kg_m3=702, moisture_pct=10.1".

    Raises:
        InputFault: a name that cannot stand on a label, or a pair that is none.
    """
    name, _, pairs = text.partition(":")
    values: dict[str, str | float] = {}
    for pair in filter(None, (part.strip() for part in pairs.split(","))):
        values |= read_pair(pair)
    return board_of(name.strip(), values)


def board_of(name: str, values: Values) -> Board:
    """Return a board; its name is letters, digits, "_" and "." alone, 12 at most."""
    if not 0 < len(name) <= 12 or not all(c.isalnum() or c in "_." for c in name):
        raise InputFault(
            f'board "{name}": a short name for the label: letters, digits, "_" and "."'
        )
    return Board(name, values)


def read_pair(pair: str) -> Values:
    """Return the specimen keys that "key=value" sets.

    Raises:
        InputFault: not a pair, or a value that does not fit its key.
    """
    key, sign, value = pair.partition("=")
    if not sign or not key.strip() or not value.strip():
        raise InputFault(f'"{pair}": write key=value, such as penetration_mm=14')
    return specimen_values(key.strip(), value.strip())


def specimen_values(key: str, text: str) -> Values:
    """Return the specimen keys that a typed value sets.

    A key that names its unit (``minor_mm``) takes a plain number. A length typed with its unit goes
    to ``<key>_mm``; a pilot may also be a drill ("No. 21") and keeps what was typed as ``drill``.
    All else is text.

    Raises:
        InputFault: a number that is none, or text that a spreadsheet would run as a formula.
    """
    if not key.replace("_", "").isalnum() or key in ("label", "run", "board", "replicate"):
        raise InputFault(f'"{key}": a key is letters, digits and "_", and not one the plan fills')
    if key in ("pilot", "drill"):
        return {"pilot_mm": _length_mm(key, text), "drill": text}
    if key.endswith(_PLAIN_SUFFIXES) or key in _PLAIN_KEYS:
        return {key: _number(key, text)}
    if text[0].isdigit() or text[0] == ".":
        try:
            return {f"{key}_mm": units.parse(text, units.LENGTH)}
        except ValueError:
            pass
    if runs_in_sheet(text):
        raise InputFault(f'{key}: "{text}" would be run as a formula by a spreadsheet; reword it')
    return {key: text}


def make_pulls(design: Design) -> tuple[PlannedPull, ...]:
    """Return all pulls in the order of the list.

    Each board holds each combination of levels ``replicates`` times; its order is `SHUFFLE`.

    Raises:
        InputFault: nothing to plan, a board or factor named twice, or a list beyond all use.
    """
    _check(design)
    draws = np.random.PCG64(design.seed)
    names = [factor.name for factor in design.factors]
    pulls: list[PlannedPull] = []
    for board in design.boards:
        cells = list(product(*(factor.levels for factor in design.factors)))
        todo = [(cell, again) for cell in cells for again in range(1, design.replicates + 1)]
        order = np.argsort(np.atleast_1d(draws.random_raw(len(todo))), kind="stable")
        width = max(2, len(str(len(todo))))
        for number, at in enumerate(order, start=1):
            cell, again = todo[at]
            label = f"{board.name}-{number:0{width}}"
            values: dict[str, str | float] = {"label": label, "board": board.name}
            values |= {**design.fixed, **board.values}
            for level in cell:
                values |= level.values
            levels = dict(zip(names, (level.text for level in cell), strict=True))
            pulls.append(PlannedPull(label, len(pulls) + 1, board.name, again, levels, values))
    return tuple(pulls)


def needed_per_level(cov: float, difference: float) -> int:
    """Return the pulls per level that show a relative ``difference`` in 80 % of such campaigns.

    Two-sided t test at 5 % between two levels whose scatter is ``cov``; both shares of the mean.

    Raises:
        InputFault: a share that is not above 0, or a difference that no number of pulls shows.
    """
    from analysis.statistics.sample_size import for_difference, whole_pulls

    if not (0.0 < cov < 2.0 and 0.0 < difference < 2.0):
        raise InputFault("cov and difference: shares of the mean above 0 %, such as 12 % and 15 %")
    needed = whole_pulls(for_difference(difference / cov))
    if needed is None:
        raise InputFault(f"a difference of {difference:.3g} of the mean is out of reach")
    return needed


def replicates_for(needed: int, factors: Sequence[Factor], boards: int) -> int:
    """Return the replicates in each board that give every level ``needed`` pulls or more."""
    sizes = [len(factor.levels) for factor in factors]
    each = boards * math.prod(sizes) // max(sizes, default=1)
    return max(1, math.ceil(needed / each))


def next_pull(plan: Plan, done: Collection[str]) -> PlannedPull | None:
    """Return the first pull of the list whose label is not among ``done``; None at the end."""
    return next((pull for pull in plan.pulls if pull.label not in done), None)


def departure_of(plan: Plan, done: Collection[str], label: str) -> str | None:
    """Return what is different from the list when ``label`` is pulled now; None if nothing is."""
    upcoming = next_pull(plan, done)
    if upcoming is not None and upcoming.label == label:
        return None
    if all(pull.label != label for pull in plan.pulls):
        return f"{label} is not on the list"
    if label in done:
        return f"{label} was pulled before"
    return f"{label} was pulled where {upcoming.label if upcoming else 'nothing'} was next"


def _check(design: Design) -> None:
    if not design.boards:
        raise InputFault("a plan needs one board at least: --board A")
    if design.replicates < 1:
        raise InputFault(f"replicates: {design.replicates} was given; one at least")
    if design.seed < 0:
        raise InputFault(f"seed: {design.seed} was given; a whole number from 0 up")
    for what, names in (
        ("board", [board.name for board in design.boards]),
        ("factor", [factor.name for factor in design.factors]),
    ):
        alike = [name.casefold() for name in names]
        for name in names:
            if alike.count(name.casefold()) > 1:
                raise InputFault(f'{what} "{name}" is named twice')
    _check_keys(design)
    combinations = math.prod(len(factor.levels) for factor in design.factors)
    if combinations * design.replicates * len(design.boards) > MOST_PULLS:
        raise InputFault(f"this plan has over {MOST_PULLS} pulls; take fewer levels or boards")


def _check_keys(design: Design) -> None:
    """Refuse a key that is both varied and fixed, or varied by two factors."""
    taken = dict.fromkeys(design.fixed, "fixed")
    for board in design.boards:
        taken |= dict.fromkeys(board.values, f"said of board {board.name}")
    for factor in design.factors:
        for key in factor.levels[0].values:
            if key in taken:
                raise InputFault(f"factor {factor.name}: {key} is also {taken[key]}")
            taken[key] = f"varied by the factor {factor.name}"


def _length_mm(key: str, text: str) -> float:
    try:
        return units.parse_length_mm(text)
    except ValueError as error:
        raise InputFault(f"{key}: {error}") from None


def _number(key: str, text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputFault(f'{key}: "{text}" is not a plain number in the unit that the key names')
    return number
