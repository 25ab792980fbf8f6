"""Roles of what is drawn, and their colours: dark, light, and none at all (NO_COLOR).

Meaning is carried by words and shapes; colour only helps. The hues keep apart for the common kinds
of colour blindness: sky blue, orange and vermilion differ in lightness as well.
"""

from dataclasses import dataclass
from functools import lru_cache

from rich.style import Style
from textual.theme import Theme

NUMBER, STOP, UNKNOWN, LOADED = "number", "stop", "unknown", "loaded"  # grounds


@dataclass(frozen=True, slots=True)
class Palette:
    """Styles by role, and whole-screen grounds by state. A style is rich's own notation."""

    name: str
    dark: bool
    ground: str
    ink: str
    roles: dict[str, str]
    grounds: dict[str, str]

    def __hash__(self) -> int:
        return hash(self.name)

    def style(self, role: str, ground: str = NUMBER) -> Style:
        """Return the style of a role on a ground; on an alarm only weight tells roles apart."""
        return _style(self, role, ground)


@lru_cache(maxsize=512)
def _style(palette: Palette, role: str, ground: str) -> Style:
    base = Style.parse(palette.grounds.get(ground, f"{palette.ink} on {palette.ground}"))
    own = Style.parse(palette.roles.get(role, ""))
    if ground in palette.grounds:
        own = Style(bold=own.bold, reverse=own.reverse)
    return base + own


DARK = Palette(
    name="pullstand-dark",
    dark=True,
    ground="#0e1113",
    ink="#d8d4c8",
    roles={
        "quiet": "#8d9190",
        "strong": "bold #fffdf2",
        "number": "#fffdf2",
        "good": "bold #6cc0ee",
        "warn": "bold #f0b43c",
        "stop": "bold #ff7d45",
        "warn_bar": "#f0b43c",
        "stop_bar": "#ff7d45",
        "room": "#6cc0ee",
        "used": "#4a5053",
        "trace": "#e9e4d2",
        "old": "#8d9190",
        "shade": "#3a4044",
        "mark": "#f0b43c",
        "key": "bold #0e1113 on #b9b5a8",
        "banner": "bold #0e1113 on #f0b43c",
        "ask": "bold #fffdf2 on #2b3338",
    },
    grounds={
        STOP: "#140600 on #ff7d45",
        UNKNOWN: "#000000 on #e8e4f4",
    },
)

LIGHT = Palette(
    name="pullstand-light",
    dark=False,
    ground="#fbf8ef",
    ink="#22272a",
    roles={
        "quiet": "#5d6466",
        "strong": "bold #000000",
        "number": "#000000",
        "good": "bold #00588f",
        "warn": "bold #8a5200",
        "stop": "bold #a83400",
        "warn_bar": "#b87400",
        "stop_bar": "#a83400",
        "room": "#0072b2",
        "used": "#b9bab4",
        "trace": "#101416",
        "old": "#6d7476",
        "shade": "#cfcdc2",
        "mark": "#8a5200",
        "key": "bold #fbf8ef on #4a5053",
        "banner": "bold #000000 on #f0b43c",
        "ask": "bold #000000 on #dfe4e2",
    },
    grounds={
        STOP: "#ffffff on #a83400",
        UNKNOWN: "#ffffff on #2a2440",
    },
)

#: No colour anywhere: weight and reverse only.
PLAIN = Palette(
    name="pullstand-plain",
    dark=True,
    ground="default",
    ink="default",
    roles={
        "strong": "bold",
        "number": "bold",
        "good": "bold",
        "warn": "bold",
        "stop": "bold reverse",
        "stop_bar": "bold",
        "warn_bar": "bold",
        "key": "reverse",
        "banner": "bold reverse",
        "ask": "reverse",
    },
    grounds={STOP: "reverse", UNKNOWN: "reverse"},
)

PALETTES = (DARK, LIGHT)


def textual_theme(palette: Palette) -> Theme:
    """Return the theme for the few ready-made widgets (the line for typing)."""
    return Theme(
        name=palette.name,
        primary="#4f8fb5",
        warning="#f0b43c",
        error="#ff7d45",
        foreground="ansi_default" if palette is PLAIN else palette.ink,
        background="ansi_default" if palette is PLAIN else palette.ground,
        surface="ansi_default" if palette is PLAIN else palette.ground,
        dark=palette.dark,
    )
