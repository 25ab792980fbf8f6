"""What stands in the lower part of the live screen: the traces, the keys, or the cautions."""

from tui.drawing import Line
from tui.view import Lower, View
from tui.widgets.braille import draw_traces
from tui.widgets.lines import draw_cautions, draw_find, draw_help

DRAWN = {
    Lower.TRACE: draw_traces,
    Lower.HELP: draw_help,
    Lower.MORE_HELP: draw_help,
    Lower.FIND: draw_find,
    Lower.CAUTIONS: draw_cautions,
}


def draw_lower(view: View, width: int, height: int) -> list[Line]:
    """Draw what the person chose to see."""
    return DRAWN[view.lower_shown](view, width, height)
