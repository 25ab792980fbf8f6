"""``pullstand ports``: which boards are attached."""

import argparse
import shutil
import sys
from dataclasses import asdict

from tui.output import print_json, say, show

NONE_ATTACHED = (
    "No serial port is attached. Plug the board in with a data cable (some carry power only), "
    "look whether the system knows the adapter, then ask again.\n"
    "Without a board: pullstand demo"
)
_COLUMNS = ("device", "vid_pid", "serial_number", "description", "by_id")
_HEADINGS = ("port", "VID:PID", "serial number", "description", "name that stays")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """There are none."""


def run(args: argparse.Namespace) -> int:
    """List the attached ports."""
    from daq.wire.serial_port import attached_ports

    ports = [asdict(port) for port in attached_ports()]
    if args.json:
        print_json({"ports": ports})
    elif not ports:
        say(NONE_ATTACHED)
    else:
        _print_table([[port[column] or "-" for column in _COLUMNS] for port in ports])
    return 0


def _print_below_each_other(rows: list[list[str]]) -> None:
    """What is too wide for the window as a table."""
    for device, *others in rows:
        show(device)
        for heading, value in zip(_HEADINGS[1:], others, strict=True):
            show(f"  {heading}: {value}")


def _print_table(rows: list[list[str]]) -> None:
    table = [list(_HEADINGS), *rows]
    widths = [max(len(row[column]) for row in table) for column in range(len(_HEADINGS))]
    if sys.stdout.isatty() and sum(widths) + 8 > shutil.get_terminal_size().columns:
        _print_below_each_other(rows)
        return
    for row in table:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        print("  ".join(cells).rstrip())  # noqa: T201
