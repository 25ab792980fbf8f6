"""The simulated board on a real port, opened with pyserial as anybody would."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest
import serial

from simulators.faults import FAULTS, FaultOrder
from simulators.pty_board import PlayingBoard, SocketPort
from simulators.scenario import ScenarioError
from simulators.serving import BoardOrder, serve
from simulators.simulation import simulate
from simulators.transmission import transmit, wire_bytes, wire_for

NEEDS_PTY = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")
SPEED = 150.0
DEADLINE_S = 30.0


def read_to_the_end(port: str, most: int | None = None) -> bytes:
    """Read until the board hangs up, or ``most`` bytes."""
    data, until = bytearray(), time.monotonic() + DEADLINE_S
    with serial.serial_for_url(port, baudrate=115200, timeout=0.2) as link:
        while time.monotonic() < until and (most is None or len(data) < most):
            try:
                data += link.read(link.in_waiting or 1)
            except (serial.SerialException, OSError):
                return bytes(data)
    assert most is not None, "the board never hung up"
    return bytes(data)


@NEEDS_PTY
@pytest.mark.parametrize("wire_format", ["text", "packet"])
def test_every_byte_of_the_script_arrives(wire_format):
    with serve(BoardOrder("split", seed=3, speed=SPEED, wire_format=wire_format)) as board:
        data = read_to_the_end(board.port)
        truth = board.wait(10)
    simulation = simulate("split", 3)
    assert data == wire_bytes(transmit(simulation, wire_for(simulation, wire_format)))
    assert data.count(b"\n" if wire_format == "text" else b"\0") == truth["lines_sent"]
    assert truth["samples_sent"] == simulation.samples + 1
    assert truth["max_force_n"] == simulation.truth.max_force_n
    assert truth["complete"]
    assert truth["samples_unread"] == 0


@NEEDS_PTY
def test_with_every_fault_at_once_the_lines_are_those_of_the_truth():
    faults = tuple(name for name in FAULTS if name != "unplug")
    with serve(BoardOrder("split", seed=4, speed=SPEED, faults=faults)) as board:
        data = read_to_the_end(board.port)
        truth = board.wait(10)
    assert data.count(b"\n") == truth["lines_sent"]
    assert {fault["kind"] for fault in truth["faults"]} == set(faults)
    expected = truth["expected"]
    assert truth["samples_sent"] == (
        expected["good"] + sum(expected["bad_lines"].values()) + expected["lost"]
    )


@NEEDS_PTY
def test_a_pulled_cable_ends_the_port_early():
    order = BoardOrder("split", speed=SPEED, faults=(FaultOrder("unplug", at_s=20.0),))
    with serve(order) as board:
        data = read_to_the_end(board.port)
        truth = board.wait(10)
    assert data.count(b"\n") == truth["lines_sent"] == pytest.approx(20 * 93, rel=0.02)


@NEEDS_PTY
def test_a_reader_that_never_reads_blocks_nothing():
    """Bytes that do not fit are lost and counted, and the board comes to its end."""
    with (
        serve(BoardOrder("split", seed=3, speed=300.0)) as board,
        serial.serial_for_url(board.port),
    ):
        truth = board.wait(DEADLINE_S)
    assert truth["samples_unread"] > 5000
    assert truth["samples_sent"] + truth["samples_unread"] == simulate("split", 3).samples + 1
    assert truth["complete"]


@NEEDS_PTY
def test_at_speed_one_the_board_keeps_its_pace():
    """The first 190 samples take two seconds, as at 93 a second, not one and not three."""
    with serve(BoardOrder("split", seed=3)) as board:
        read_to_the_end(board.port, most=100)
        start = time.monotonic()
        data = read_to_the_end(board.port, most=190 * 22)
        took = time.monotonic() - start
        truth = board.truth
    clocks = [int(line.split(b",")[0]) for line in data.split(b"\n")[2:-1]]
    assert took == pytest.approx(clocks[-1] / 1e6, abs=0.6)
    assert not truth["complete"]


def test_a_socket_serves_where_there_is_no_pty(monkeypatch):
    """The same bytes over the loopback address; in this process, so on a thread of the test."""
    from concurrent.futures import ThreadPoolExecutor

    simulation = simulate("split", 3)
    orders = [FaultOrder("unplug", at_s=25.0)]
    transmission = transmit(simulation, wire_for(simulation), orders)
    port = SocketPort()
    assert port.name.startswith("socket://127.0.0.1:")
    board = PlayingBoard(port, transmission, SPEED)

    def play():
        board.run()
        port.close()

    with ThreadPoolExecutor(1) as pool:
        playing = pool.submit(play)
        data = read_to_the_end(port.name)
        playing.result(DEADLINE_S)
    assert data == wire_bytes(transmission)
    assert board.delivery.complete


def test_a_wrong_order_is_told():
    with (
        pytest.raises(ScenarioError, match="there is no scenario"),
        serve(BoardOrder("splitt")),
    ):
        pass


def command(*words, **options):
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "tui", "simulate", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,
    )


@NEEDS_PTY
@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_the_command_prints_its_port_first_and_ends_politely(tmp_path, ending):
    link, truth = tmp_path / "board", tmp_path / "truth.json"
    words = ("grip-slip", "--seed", "2", "--link", str(link), "--truth", str(truth))
    process = command(*words)
    try:
        port = process.stdout.readline().strip()
        assert str(link.readlink()) == port
        read_to_the_end(str(link), most=100)
    finally:
        process.send_signal(ending)
        _, complaints = process.communicate(timeout=10)
    assert process.returncode == 130
    assert "Traceback" not in complaints
    assert not link.is_symlink()
    document = json.loads(truth.read_text("utf-8"))
    assert document["kind"] == "invalid"
    assert document["samples_sent"] >= 4


@NEEDS_PTY
def test_the_command_as_json_runs_to_its_end(tmp_path):
    truth = tmp_path / "truth.json"
    words = ("--json", "--speed", "200", "--pulls", "2", "--format", "packet", "--truth")
    process = command("split", *words, str(truth))
    text = ""
    while not text.endswith("}\n"):
        text += process.stdout.readline()
    said = json.loads(text)
    assert (said["scenario"], said["pulls"], said["wire_format"]) == ("split", 2, "packet")
    frames = read_to_the_end(said["port"]).count(b"\0")
    rest, _ = process.communicate(timeout=10)
    assert (process.returncode, rest) == (0, "")
    document = json.loads(truth.read_text("utf-8"))
    assert frames == document["lines_sent"]
    assert len(document["pulls"]) == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["splitt"], "hardwood-withdrawal"),
        (["split", "--fault", "bogus"], "first-line-cut"),
        (["split", "--speed", "0"], "above zero"),
        (["split", "--pulls", "0"], "1 or more"),
        (["split", "--seed", "-1"], "0 or above"),
        (["split", "--rig", "none.toml"], "none.toml"),
        (["split", "--truth", "no-such-folder/truth.json"], "no-such-folder"),
    ],
)
def test_a_wrong_word_is_told_in_a_sentence(words, told, capsys):
    from tui.cli import main

    assert main(["simulate", *words]) == 2
    out, complaint = capsys.readouterr()
    assert out == ""
    assert told in complaint
    assert "Traceback" not in complaint


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--headless", "--seed", "-1"], "0 or above"),
        (["--practice", "--seed", "-1"], "0 or above"),
        (["--headless", "--speed", "-2"], "above zero"),
        (["--headless", "--speed", "0"], "above zero"),
        (["--headless", "--scenario", "splitt"], "hardwood-withdrawal"),
    ],
)
def test_the_demo_refuses_before_it_starts_anything(words, told, tmp_path, capfd):
    from tui.cli import main

    assert main(["demo", *words, "--out", str(tmp_path / "pulls")]) == 2
    out, complaint = capfd.readouterr()
    assert (out, len(complaint.splitlines())) == ("", 1)
    assert told in complaint


def test_a_name_that_cannot_be_given_is_told(tmp_path, capsys):
    """A file stands where the link should go; a name is too long."""
    from tui.cli import main

    (tmp_path / "taken").write_text("mine", "utf-8")
    assert main(["simulate", "split", "--link", str(tmp_path / "taken")]) == 2
    assert "there is a file of that name" in capsys.readouterr().err
    assert main(["simulate", "split", "--link", str(tmp_path / ("x" * 300))]) == 2
    assert "xxx: " in capsys.readouterr().err
    assert (tmp_path / "taken").read_text("utf-8") == "mine"
