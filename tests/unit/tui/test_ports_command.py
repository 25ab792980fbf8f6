"""``pullstand ports``: a list, JSON alone on stdout, and plain words when nothing is attached."""

import json

import pytest

from daq.wire import serial_port
from daq.wire.serial_port import AttachedPort
from tui.cli import main

BOARD = AttachedPort("/dev/ttyACM0", "/dev/serial/by-id/usb-board", "1209:0001", "42", "a board")
BARE = AttachedPort("COM7", "", "", "", "")


@pytest.fixture
def attached(monkeypatch):
    ports = []
    monkeypatch.setattr(serial_port, "attached_ports", lambda: ports)
    return ports


def test_each_port_is_a_line_under_a_heading(attached, capsys):
    attached += [BOARD, BARE]
    assert main(["ports"]) == 0
    heading, first, second = capsys.readouterr().out.splitlines()
    assert "VID:PID" in heading
    assert "/dev/ttyACM0" in first and "1209:0001" in first and "by-id/usb-board" in first
    assert second.split() == ["COM7", "-", "-", "-", "-"]


def test_what_is_too_wide_for_the_window_stands_below_each_other(attached, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdout.isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    attached += [BOARD, BARE]
    assert main(["ports"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 60
    assert lines[:2] == ["/dev/ttyACM0", "  VID:PID: 1209:0001"]
    assert "  name that stays: /dev/serial/by-id/usb-board" in lines
    assert "COM7" in lines


def test_json_names_every_key(attached, capsys):
    attached += [BOARD]
    assert main(["ports", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {
        "ports": [
            {
                "device": "/dev/ttyACM0",
                "by_id": "/dev/serial/by-id/usb-board",
                "vid_pid": "1209:0001",
                "serial_number": "42",
                "description": "a board",
            }
        ]
    }


def test_none_attached_says_so_and_what_to_try(attached, capsys):
    assert main(["ports"]) == 0
    told = capsys.readouterr()
    assert told.out == ""
    assert "No serial port is attached" in told.err and "pullstand demo" in told.err
    assert main(["ports", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"ports": []}


class Listed:
    """A port as the library lists it."""

    def __init__(self, device, vid=None, pid=None, hwid="n/a"):
        self.device, self.vid, self.pid, self.hwid = device, vid, pid, hwid
        self.serial_number = None
        self.description = "n/a"

    def __lt__(self, other):
        return self.device < other.device


def test_ports_without_hardware_behind_them_are_left_out(monkeypatch):
    listed = [Listed("/dev/ttyS0"), Listed("/dev/ttyUSB1", 0x1A86, 0x7523, "USB VID:PID=1A86:7523")]
    monkeypatch.setattr(serial_port.list_ports, "comports", lambda: listed)
    assert serial_port.attached_ports() == [
        AttachedPort("/dev/ttyUSB1", "", "1A86:7523", "", ""),
    ]
