"""The one widget of the live screen: shows the lines a drawing function returns, cheaply."""

from collections.abc import Callable

from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from tui.drawing import Line, width_of
from tui.theme import DARK, NUMBER, Palette
from tui.view import View

Draw = Callable[[View, int, int], list[Line]]


class Pane(Widget):
    """A stack of drawn lines; only rows that changed are painted again."""

    DEFAULT_CSS = "Pane { height: 0; width: 100%; }"

    def __init__(self, draw: Draw, name: str) -> None:
        super().__init__(id=name)
        self.draw_lines = draw
        self._lines: list[Line] = []
        self._look: tuple[Palette, str] = (DARK, NUMBER)

    def show(self, view: View, width: int, height: int, palette: Palette, ground: str) -> None:
        """Draw the pane for a view, and paint what changed."""
        lines = self._drawn(view, width, height) if height else []
        old, self._lines = self._lines, lines
        if (palette, ground) != self._look or len(old) != len(lines):
            self._look = (palette, ground)
            self.refresh()
            return
        changed = [y for y, (a, b) in enumerate(zip(old, lines, strict=True)) if a != b]
        if changed:
            self.refresh(*(Region(0, y, width, 1) for y in changed))

    def _drawn(self, view: View, width: int, height: int) -> list[Line]:
        """Return the lines; a part that cannot be drawn must not take the number away."""
        try:
            return self.draw_lines(view, width, height)
        except Exception as error:
            return [((f" {self.id} cannot be drawn: {error!r}"[:width], "stop"),)]

    def render_line(self, y: int) -> Strip:
        """Return one row as the terminal gets it."""
        palette, ground = self._look
        width = self.size.width
        line = self._lines[y] if y < len(self._lines) else ()
        parts = [Segment(text, palette.style(role, ground)) for text, role in line if text]
        used = width_of(line)
        if used < width:
            parts.append(Segment(" " * (width - used), palette.style("", ground)))
        return Strip(parts).crop(0, width)
