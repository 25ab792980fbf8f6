"""What a person chose once for all sessions: a small TOML file, checked key by key."""

import tomllib
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from daq.faults import InputFault, Problem
from tui.pace import TIME_S, WITHIN_S
from tui.sounds import Cue
from tui.wording import UNITS

THEMES = ("dark", "light")
#: The stop is always heard.
MUTABLE = tuple(cue for cue in Cue if cue is not Cue.STOP)
TIMES_S = (5.0, 3600.0)


@dataclass(frozen=True, slots=True)
class Settings:
    """``muted`` are names of sounds; ``player`` is a program and its words, () the terminal bell.

    ``time_s`` and ``within_s``: the wanted time to the maximum, and how far off is still good.
    """

    unit: str = "kN"
    theme: str = "dark"
    muted: tuple[str, ...] = ()
    player: tuple[str, ...] = ()
    time_s: float = TIME_S
    within_s: float = WITHIN_S


def settings_file() -> Path:
    """Return where the settings of this person are kept."""
    import platformdirs

    return Path(platformdirs.user_config_dir("pullstand", appauthor=False)) / "console.toml"


def read_settings(path: Path) -> Settings:
    """Return the settings of a file; the usual ones where there is none. Raises InputFault."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return Settings()
    except (OSError, ValueError) as error:
        raise InputFault([Problem(str(path), None, "", f"cannot be read: {error}")]) from None
    problems = [Problem(str(path), None, key, words) for key, words in _wrong(table)]
    if problems:
        raise InputFault(problems)
    lists = {key: tuple(table[key]) for key in ("muted", "player") if key in table}
    times = {key: float(table[key]) for key in ("time_s", "within_s") if key in table}
    return replace(Settings(), **{**table, **lists, **times})


def _wrong(table: dict[str, Any]) -> list[tuple[str, str]]:
    """Return what is wrong with which key."""
    wrong = [(key, f"unknown; known: {', '.join(asdict(Settings()))}")
             for key in table if key not in asdict(Settings())]  # fmt: skip
    for key, choices in (("unit", UNITS), ("theme", THEMES)):
        if table.get(key, choices[0]) not in choices:
            wrong.append((key, f"must be one of: {', '.join(choices)}"))
    for key in ("muted", "player"):
        value = table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
            wrong.append((key, 'must be a list of texts, such as ["pace"]'))
        elif key == "muted" and (strange := set(value) - {str(cue) for cue in MUTABLE}):
            wrong.append((key, f"{', '.join(sorted(strange))} cannot be muted"))
    for key in ("time_s", "within_s"):
        value = table.get(key, TIMES_S[0])
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not TIMES_S[0] <= value <= TIMES_S[1]:
            wrong.append((key, f"must be seconds, {TIMES_S[0]:g} to {TIMES_S[1]:g}"))
    return wrong


def chosen_unit() -> str:
    """Return the unit of force that this person reads; the usual one where that is not told."""
    from tui.output import say

    try:
        return read_settings(settings_file()).unit
    except InputFault as fault:
        say(f"{fault} The usual settings are used.")
        return Settings().unit


def write_settings(path: Path, settings: Settings) -> None:
    """Keep the settings; a person's comments in the file stay. Raises InputFault."""
    import tomlkit

    try:
        document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else None
        if document is None:
            document = tomlkit.document()
            document.add(tomlkit.comment("The console of pullstand. The stop is always heard."))
        for key, value in asdict(settings).items():
            document[key] = list(value) if isinstance(value, tuple) else value
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_suffix(".new")
        beside.write_text(tomlkit.dumps(document), encoding="utf-8")
        beside.replace(path)
    except (OSError, ValueError) as error:
        raise InputFault(f"{path}: the settings cannot be kept: {error}") from None
