"""Whatever a rig file holds, it becomes a rig or a list of printable complaints with places."""

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

import simulators
from daq.faults import InputFault
from daq.rig.load_path import load_path, stop_problems
from daq.rig.rig import Rig
from daq.rig.rig_file import read_rig_text

SOUND = (Path(simulators.__file__).parent / "rigs" / "ossel-brook-b4.toml").read_text()
LINES = SOUND.split("\n")


def holds(text):
    try:
        rig = read_rig_text(text, "rig.toml")
    except InputFault as fault:
        assert fault.problems
        for problem in fault.problems:
            assert problem.message.isprintable()
            assert problem.key.isprintable()
            assert problem.line is None or 1 <= problem.line <= text.count("\n") + 2
    else:
        assert isinstance(rig, Rig)
        assert load_path(rig).stop_ok == (not stop_problems(rig))


@given(st.text(max_size=300))
def test_any_text(text):
    holds(text)


@given(st.integers(0, len(SOUND)), st.integers(0, 12), st.text(max_size=12))
def test_a_sound_file_with_a_stretch_overwritten(start, length, patch):
    holds(SOUND[:start] + patch + SOUND[start + length :])


@given(st.lists(st.integers(0, len(LINES) - 1), unique=True, max_size=12))
def test_a_sound_file_with_lines_missing(gone):
    holds("\n".join(line for n, line in enumerate(LINES) if n not in gone))


@given(st.integers(0, len(LINES) - 1), st.sampled_from([
    "0", "-1", "1e400", "nan", "true", "[]", "{}", "[[]]", '""', '"\\u001b[2J"', "1979-05-27",
    '"unknown"', '"9e99 kN"', '"1e-99 mm"', '"-1 mm"', '"0 N"', '["a", 1]', '{x = 1}',
]))  # fmt: skip
def test_a_sound_file_with_one_value_of_another_kind(number, value):
    key, equals, _ = LINES[number].partition(" = ")
    if equals:
        holds("\n".join([*LINES[:number], f"{key} = {value}", *LINES[number + 1 :]]))
