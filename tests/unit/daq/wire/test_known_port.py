"""A board that comes back under another name is found by its adapter, and no other board is."""

from daq.wire.known_port import KnownPort
from daq.wire.serial_port import AttachedPort


def adapter(device, serial="A1", vid_pid="1A86:7523"):
    return AttachedPort(device, "", vid_pid, serial, "")


def known(*before, name="/dev/ttyUSB0"):
    """A port that was open while ``before`` was attached, and the list to change afterwards."""
    attached = list(before)
    port = KnownPort(name, lambda: attached)
    port.opened()
    return port, attached


def test_the_same_adapter_under_another_name():
    port, attached = known(adapter("/dev/ttyUSB0"), adapter("/dev/ttyUSB1", "B2"))
    attached[:] = [adapter("/dev/ttyUSB0", "B2"), adapter("/dev/ttyUSB3")]
    assert port.name() == "/dev/ttyUSB3"


def test_without_a_serial_number_only_one_of_its_kind_is_taken_for_it():
    port, attached = known(adapter("/dev/ttyUSB0", ""))
    attached[:] = [adapter("/dev/ttyUSB2", ""), adapter("/dev/ttyACM0", "", "2341:0043")]
    assert port.name() == "/dev/ttyUSB2"
    attached.append(adapter("/dev/ttyUSB4", ""))
    assert port.name() == "/dev/ttyUSB0"


def test_what_is_not_listed_keeps_its_name():
    """A pty, a socket, or an adapter that is not back yet."""
    port, attached = known(name="/dev/pts/7")
    assert port.name() == "/dev/pts/7"
    port, attached = known(adapter("/dev/ttyUSB0"))
    attached.clear()
    assert port.name() == "/dev/ttyUSB0"


def test_a_link_is_followed_to_its_adapter(tmp_path):
    """/dev/serial/by-id names are links: known by what they point at."""
    device, link = tmp_path / "ttyUSB0", tmp_path / "by-id"
    device.touch()
    link.symlink_to(device)
    port, attached = known(adapter(str(device)), name=str(link))
    attached[:] = [adapter("/dev/ttyUSB9")]
    assert port.name() == "/dev/ttyUSB9"
