"""The right decoder for a link."""

from collections.abc import Sequence

from daq.rig.rig import Cell, Link
from daq.wire.decoded import Decoder
from daq.wire.line_layout import layout_of
from daq.wire.packets import PacketDecoder
from daq.wire.text_lines import TextLineDecoder


def make_decoder(link: Link, cells: Sequence[Cell]) -> Decoder:
    """Return a new decoder of what ``link`` carries, with a channel for each of ``cells`` in order.

    Raises InputFault where the link names no field of a cell, two clocks, or a senseless separator.
    """
    layout = layout_of(link, cells)
    return PacketDecoder(layout) if link.format == "packet" else TextLineDecoder(layout)
