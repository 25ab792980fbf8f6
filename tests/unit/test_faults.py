"""The error tree says where and what, and knows its exit codes."""

from daq.faults import DeviceFault, InputFault, Problem, RecordingFault, StoppedByGuard


def test_every_problem_of_an_input_file_is_told_with_its_place():
    """Two problems in one file make two lines, each with file, line and key."""
    fault = InputFault(
        [
            Problem("rig.toml", 7, "stop.stop", "has no unit"),
            Problem("rig.toml", None, "cell", "is missing"),
        ]
    )
    assert str(fault).splitlines() == [
        "rig.toml:7: stop.stop: has no unit",
        "rig.toml: cell: is missing",
    ]


def test_exit_codes_follow_the_contract():
    """2 bad input, 3 device, 4 guard, 5 recording."""
    codes = [kind.exit_code for kind in (InputFault, DeviceFault, StoppedByGuard, RecordingFault)]
    assert codes == [2, 3, 4, 5]
