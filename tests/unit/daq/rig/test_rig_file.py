"""A rig file becomes a Rig, or every problem in it with file, line and key."""

import tomllib
from pathlib import Path

import pytest

from daq.faults import InputFault
from daq.rig.rig_file import LARGEST_BYTES, read_rig, read_rig_text, with_value
from daq.rig.toml_lines import line_numbers, line_of


def problems_of(text):
    with pytest.raises(InputFault) as caught:
        read_rig_text(text, "rig.toml")
    return caught.value.problems


def only_problem(text):
    problems = problems_of(text)
    assert len(problems) == 1, problems
    return problems[0]


def line_with(text, words):
    return next(n for n, line in enumerate(text.split("\n"), start=1) if words in line)


def test_reads_a_whole_rig(rig_text, tmp_path):
    path = tmp_path / "rig.toml"
    path.write_text(rig_text, encoding="utf-8")
    rig = read_rig(path)
    assert (rig.name, rig.build, rig.path) == ("Ossel Brook lever", "4", path)
    assert rig.calibration_file == tmp_path / "cells.toml"
    assert rig.link.fields == ("time_us", "left", "right")
    assert [cell.capacity_n for cell in rig.cells] == [1961.33, 1961.33]
    assert [cell.sign for cell in rig.cells] == [1, -1]
    assert rig.lever.ratio == 2.0
    assert rig.beam.screws.count == 2
    assert [part.limit_n for part in rig.parts] == [8200.0, None]
    assert rig.pins[0].diameter_mm == 12.0
    assert (rig.stop.stop_n, rig.stop.warn_n) == (6200.0, 5200.0)
    assert rig.stiffness_n_per_mm == 1500.0
    assert rig.text == rig_text


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('jack_arm = "402 mm"', "jack_arm = 402", "lever.jack_arm", ["402", "no unit", "mm"]),
        ('jack_arm = "402 mm"', 'jack_arm = "-402 mm"', "lever.jack_arm", ["above zero"]),
        ('jack_arm = "402 mm"', 'jack_arm = "0 mm"', "lever.jack_arm", ["above zero"]),
        ('jack_arm = "402 mm"', 'jack_arm = "402 N"', "lever.jack_arm", ["no unit of length"]),
        ('jack_arm = "402 mm"', "jack_arm = true", "lever.jack_arm", ["found true"]),
        ('jack_arm = "402 mm"', 'jak_arm = "402 mm"', "lever.jak_arm", ['"jack_arm"']),
        ('capacity = "200 kgf"', 'capacity = "200 kg"', "cell[1].capacity", ["kg is a mass"]),
        ("sign = -1", "sign = 0", "cell[2].sign", ["1, or -1"]),
        ("build =", "bild =", "rig.bild", ['"build"']),
        ('name = "post"', 'name = "hook bolt"', "part[2].name", ["used twice"]),
        ('limit = "unknown"', 'limit = "8"', "part[2].limit", ["no unit", 'write "unknown"']),
        ('limit = "unknown"', 'limit = "9 kN"', "part[2].source", ["where the limit comes from"]),
        ('acts_at = "fulcrum"', 'acts_at = "post"', "part[2].acts_at", ['"fulcrum"']),
        ('warn = "5.2 kN"', 'warn = "6.3 kN"', "stop.warn", ["not below the stop"]),
        ('alarm_line = "rts"', 'alarm_line = "RI"', "stop.alarm_line", ['"dtr"']),
        ("friction = 0.15", 'friction = "0.15"', "jack.friction", ["no quotes"]),
        ('length = "460 mm"', 'length = "400 mm"', "lever.jack_arm", ["402 mm", "400 mm long"]),
        ('specimen_arm = "201 mm"', 'specimen_arm = "410 mm"', "lever.specimen_arm", ["between"]),
        ('hole = "12 mm"', 'hole = "80 mm"', "beam.hole", ["does not fit"]),
        ('loaded_edge = "60 mm"', 'loaded_edge = "95 mm"', "beam.loaded_edge", ["depth"]),
        ("count = 2", "count = 2.5", "beam.screws.count", ["whole number"]),
        ('port = "/dev/ttyUSB0"', 'separator = ",,"', "link.separator", ["one character"]),
        ('"left", "right"]', '"left", "right", "time_ms"]', "link.fields", ["one clock"]),
        ('"left", "right"]', '"left", "right", "mid"]', "link.fields", ['"mid"', '"skip"']),
        ('"left", "right"]', '"left", "right", "right"]', "link.fields", ["2 times"]),
        ('"left", "right"]', '"left", "skip"]', "cell[2].field", ["not in the fields"]),
        ('field = "right"', 'field = "time_us"', "cell[2].field", ["no name for a load cell"]),
        ('[stop]', "[stops]", "stops", ['"stop"']),
    ],
)  # fmt: skip
def test_one_mistake_is_told_with_line_key_and_what_is_meant(rig_text, old, new, key, words):
    text = rig_text.replace(old, new, 1)
    assert text != rig_text
    problem = next(p for p in problems_of(text) if p.key == key)
    assert problem.file == "rig.toml"
    assert problem.line is not None
    for word in words:
        assert word in problem.message


def test_the_line_is_the_one_that_holds_the_key(rig_text):
    text = rig_text.replace('capacity = "200 kgf"\nsign', 'capacity = "200"\nsign')
    assert only_problem(text).line == line_with(text, 'capacity = "200"\n'.strip())


def test_every_problem_at_once_in_the_order_of_the_file(rig_text):
    text = (
        rig_text.replace('"402 mm"', "402").replace('"6.2 kN"', '"6.2"').replace('"5.2 kN"', '"x"')
    )
    problems = problems_of(text)
    assert [p.key for p in problems] == ["lever.jack_arm", "stop.stop", "stop.warn"]
    assert [p.line for p in problems] == sorted(p.line for p in problems)


def test_missing_sections_and_keys_are_named():
    problems = problems_of('[rig]\nname = "x"\n')
    assert {p.key for p in problems} == {"rig.build", "link", "cell", "lever", "stop", "jack"}


def test_single_bracket_cell_is_explained(rig_text):
    text = rig_text.replace("[[cell]]", "[cell]", 1)
    head, _, rest = text.partition('[[cell]]\nname = "right"')
    text = head + rest[rest.index("[lever]") :]
    assert any("double brackets" in p.message for p in problems_of(text))


def test_toml_mistake_gives_its_line(rig_text):
    text = rig_text.replace('depth = "95 mm"', 'depth = "95 mm')
    problem = only_problem(text)
    assert problem.line == line_with(text, 'depth = "95 mm')
    assert "not TOML" in problem.message


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a = " + "9" * 100_000, "\x00", "[" * 50, "a.b.c = 1\na = 2"]
)
def test_hostile_text_gets_a_sentence(text):
    assert len(str(only_problem(text))) < 300


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"a" * (LARGEST_BYTES + 1), "larger than 1 MB"),
        (b'[rig]\nname = "\xff\xfe"', "UTF-8"),
        (None, "no such rig file"),
    ],
)
def test_unreadable_files_get_a_sentence(tmp_path, data, words):
    path = tmp_path / "rig.toml"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(InputFault, match=words):
        read_rig(path)


def test_a_folder_is_no_rig_file(tmp_path):
    with pytest.raises(InputFault, match="cannot be read"):
        read_rig(tmp_path)


def test_a_byte_order_mark_and_windows_lines_do_not_matter(rig_text, tmp_path):
    path = tmp_path / "rig.toml"
    path.write_bytes(b"\xef\xbb\xbf" + rig_text.replace("\n", "\r\n").encode())
    assert read_rig(path).lever.ratio == 2.0


def test_a_value_is_rewritten_and_comments_stay(rig_text):
    text = with_value(rig_text, "lever.jack_arm", "603 mm")
    assert 'jack_arm = "603 mm"   # measured twice' in text
    assert len(text.split("\n")) == len(rig_text.split("\n"))
    assert read_rig_text(with_value(text, "beam.length", "700 mm"), "x").lever.ratio == 3.0
    assert read_rig_text(with_value(rig_text, "cell[1].sign", -1), "x").cells[0].sign == -1


def test_a_value_for_a_section_that_is_not_there_is_refused(rig_text):
    for key in ("nowhere.stop", "cell[3].sign"):
        with pytest.raises(InputFault, match="no place"):
            with_value(rig_text, key, 1)


def test_lines_of_every_key_hold_the_key(rig_text):
    tricky = 'a.b = 1\n[x]\nnote = """\nkey = 1\n"""\n"q k" = 2\n[[y]]\n[[y]]\nz = [\n 1,\n]\n'
    tricky += "[y.w]\nv = 1\n"
    lines = line_numbers(tricky)
    assert lines[("a", "b")] == 1
    assert ("x", "key") not in lines
    assert lines[("x", "q k")] == 6
    assert lines[("y", 1)] == 8
    assert lines[("y", 1, "z")] == 9
    assert lines[("y", 1, "w", "v")] == 13
    assert line_of(lines, ("y", 1, "z", "deeper")) == 9
    source = rig_text.split("\n")
    numbers = line_numbers(rig_text)
    for section, table in tomllib.loads(rig_text).items():
        for key in table if isinstance(table, dict) else ():
            assert (
                source[numbers[(section, key)] - 1]
                .lstrip("[")
                .startswith((key, f"{section}.{key}"))
            )


def test_a_calibration_path_belongs_to_the_folder_of_the_file(rig_text):
    rig = read_rig_text(rig_text, "x", Path("some") / "place")
    assert rig.calibration_file == Path("some") / "place" / "cells.toml"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('pin_radius = "6 mm"', 'pin_radius = "-6 mm"', "must not be negative"),
        ('jack_arm = "402 mm"', 'jack_arm = "402 kmm"', "no unit of length"),
        ('jack_arm = "402 mm"', 'jack_arm = "402000 m"', "more than any rig"),
        ('lead = "4 mm"', 'lead = "1e-9 mm"', "less than any rig"),
        ('alarm_line = "rts"', 'stale_after = "60 s"', "more than any rig"),
        ('name = "post"', 'name = "\\u001b[2J"', "cannot be printed"),
    ],
)
def test_values_out_of_any_reason(rig_text, old, new, words):
    assert words in only_problem(rig_text.replace(old, new, 1)).message


def test_a_complaint_never_steers_the_terminal(rig_text):
    text = rig_text.replace('name = "post"', '"na\\u001b[2Jme" = "post"')
    assert all("\x1b" not in str(problem) for problem in problems_of(text))
