"""What a reader must know before believing a comparison, in whole sentences."""

from collections import Counter
from collections.abc import Collection, Sequence

from analysis.check_flags import in_doubt
from analysis.groups import Group, Level, Pull, Selection, level_at, level_words
from analysis.statistics.characteristic import FEW, FEWEST
from analysis.statistics.outliers import suspects

BOARD = "board"
ALARM = "ALARM: "


#: Entries that change the strength: pulls that differ in them are not alike.
STRENGTH_KEYS = (
    *("series", "species", "fastener", "major_mm", "minor_mm"),
    *("penetration_mm", "pilot_mm", "coating"),
)


def cautions(
    selection: Selection, groups: Sequence[Group], taken_out: Collection[str] = ()
) -> list[str]:
    """Return every caution, the gravest first; the model already allows for ``taken_out`` keys."""
    return [
        *board_alarms(selection),
        *_left_out(selection),
        *_modes(selection, groups),
        *_uneven(selection, taken_out),
        *_doubted(selection),
        *_partial(groups),
        *_standing_out(selection, groups),
        *_small(groups),
    ]


def board_alarms(selection: Selection) -> list[str]:
    """Return an alarm for every level whose pulls all sit in one of several boards."""
    key = selection.block or BOARD
    boards = boards_of(selection, key)
    if selection.by == key or len(set().union(*boards.values())) < 2:
        return []
    return [
        f"{ALARM}{selection.by} {level_words(level)} sits in {key} {level_words(one)} only: "
        f"its difference from the other levels may be the {key}'s."
        for level, found in boards.items()
        if len(found) == 1 and len(selection.of(level)) > 1
        for one in found
    ]


def boards_of(selection: Selection, key: str) -> dict[Level, set[Level]]:
    """Return the boards that each level has pulls in."""
    return {
        level: {
            board
            for pull in selection.of(level)
            if (board := level_at(pull.result, key)) is not None
        }
        for level in selection.levels
    }


def one_board_apart(selection: Selection, a: Level, b: Level) -> bool:
    """Whether two levels share no board and one of them has a single one: boards are compared."""
    key = selection.block or BOARD
    if selection.by == key:
        return False
    boards = boards_of(selection, key)
    first, second = boards[a], boards[b]
    return bool(first and second) and not first & second and min(len(first), len(second)) == 1


def _left_out(selection: Selection) -> list[str]:
    told = [
        (selection.no_level, f'carry no "{selection.by}"'),
        (selection.no_block, f'carry no "{selection.block}"'),
        (selection.no_force, "have no maximum (a gap, or force unknown)"),
    ]
    lines = [f"{count} valid pulls {why} and are not compared." for count, why in told if count]
    invalid = sum(selection.invalid.values())
    if invalid:
        lines.append(f"Invalid pulls, counted and kept out of every figure: {invalid}.")
    if selection.block is None and selection.by != BOARD:
        boards = set().union(*boards_of(selection, BOARD).values())
        if len(boards) > 1:
            lines.append(
                f"The pulls come from {len(boards)} boards, and pulls of one board are alike: "
                "add --block board."
            )
    return lines


def _modes(selection: Selection, groups: Sequence[Group]) -> list[str]:
    modes: Counter[str] = Counter()
    for group in groups:
        modes.update(group.modes)
    if len(modes) < 2:
        return []
    told = ", ".join(f"{name} {count}" for name, count in modes.most_common())
    return [
        f"Failure modes are mixed ({told}): they are different limits. Compare one mode at a time; "
        "a mean over both describes neither."
    ]


def _uneven(selection: Selection, taken_out: Collection[str]) -> list[str]:
    lines = []
    for key in STRENGTH_KEYS:
        found = {level_at(pull.result, key) for pull in selection.pulls} - {None}
        if len(found) > 1 and key not in (selection.by, selection.block, *taken_out):
            lines.append(
                f"{key} differs between the pulls and counts as scatter, or as {selection.by}: "
                f"compare like with like (--where {key}=...)."
            )
    return lines


def _doubted(selection: Selection) -> list[str]:
    doubted = sum(in_doubt(pull.result) for pull in selection.pulls)
    if not doubted:
        return []
    return [
        f"Pulls in doubt: {doubted}. A check weight failed beside them, and nobody knows when the "
        "rig went wrong. Check, calibrate again, and repeat them where it matters."
    ]


def _partial(groups: Sequence[Group]) -> list[str]:
    partial = sum(group.n_partial for group in groups)
    if not partial:
        return []
    return [f"Partial pulls, their maximum in doubt (see their flags): {partial}."]


def _standing_out(selection: Selection, groups: Sequence[Group]) -> list[str]:
    lines = []
    for group in groups:
        pulls = [pull for pull in selection.of(group.level) if not pull.at_least]
        lines += [
            f"Look at {_name(pulls[place])}: {pulls[place].force_n / 1000:.2f} kN stands out in "
            f"{selection.by} {level_words(group.level)}. It is kept; leave it out only for a cause "
            "that was seen."
            for place in suspects([pull.force_n for pull in pulls])
        ]
    return lines


def _small(groups: Sequence[Group]) -> list[str]:
    lines = []
    few = [level_words(group.level) for group in groups if FEWEST <= group.n < FEW]
    if few:
        lines.append(
            f"Low-end (5 %) values from fewer than {FEW} pulls say little ({', '.join(few)}): "
            "nothing to design by."
        )
    for group in groups:
        if group.n and group.failures < FEWEST and group.censored:
            lines.append(
                f"{level_words(group.level)}: fewer than three failures, so only "
                f">= {group.at_least_n / 1000:.2f} kN can be said."
            )
        elif group.n == 1:
            lines.append(f"{level_words(group.level)}: a single pull has no scatter to judge by.")
    return lines


def _name(pull: Pull) -> str:
    return str(pull.result.specimen.get("label") or pull.result.file.name)
