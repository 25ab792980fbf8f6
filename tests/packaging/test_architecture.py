"""The map is the folder, imports go one way, threads and edges live where they are said to."""

import ast
import re
from pathlib import Path

import pytest

import analysis
import daq
import simulators
import tui

ROOMS = {room.__name__: Path(room.__file__).parent for room in (daq, analysis, tui, simulators)}
MAY_IMPORT = {
    "daq": {"daq"},
    "analysis": {"daq", "analysis"},
    "tui": {"daq", "analysis", "tui"},
    "simulators": {"simulators"},
}
#: Library -> the only places that may import it.
EDGES = {
    "serial": r"daq/wire/serial_port\.py",
    "h5py": r"daq/record/\w+\.py",
    "textual": r"tui/.*",
    "threading": r"daq/acquisition\.py|simulators/.*",
    "pty": r"simulators/.*",
    "scipy": r"analysis/.*|daq/force/\w*fit\w*\.py",
    "matplotlib": r"analysis/report/.*",
    "jinja2": r"analysis/report/.*",
}


def modules():
    """Every module of the four rooms as (room, path inside the tree, syntax tree)."""
    for room, folder in ROOMS.items():
        for path in sorted(folder.rglob("*.py")):
            name = f"{room}/{path.relative_to(folder).as_posix()}"
            yield room, name, ast.parse(path.read_text("utf-8"))


def imported(tree: ast.AST):
    """Top-level names a module imports anywhere in it, and whether an import is relative."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name.split(".")[0], 0) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield (node.module or "").split(".")[0], node.level


def test_imports_go_one_way():
    """daq <- analysis <- tui; simulators import nothing of ours; only commands load simulators."""
    wrong = []
    for room, name, tree in modules():
        allowed = MAY_IMPORT[room] | ({"simulators"} if name.startswith("tui/commands/") else set())
        ours = {top for top, _ in imported(tree)} & set(ROOMS)
        wrong += [f"{name} imports {top}" for top in ours - allowed]
    assert wrong == []


def test_imports_are_absolute():
    """A later move under one name stays a mechanical rename."""
    assert [name for _, name, tree in modules() if any(level for _, level in imported(tree))] == []


@pytest.mark.parametrize("library", EDGES)
def test_edges_stay_at_the_edge(library):
    """Ports, files, screens and threads are touched only where the map says."""
    users = [name for _, name, tree in modules() if library in {top for top, _ in imported(tree)}]
    assert [name for name in users if not re.fullmatch(EDGES[library], name)] == []


def test_the_map_of_daq_is_the_folder():
    """One line per file or room, none missing, none left over."""
    drawn = set(re.findall(r"^    (\w+/?) {2,}\S", daq.__doc__ or "", re.MULTILINE))
    folder = ROOMS["daq"]
    there = {p.stem for p in folder.glob("*.py")} - {"__init__"}
    there |= {f"{p.parent.name}/" for p in folder.glob("*/__init__.py")}
    assert drawn == there


def test_every_module_opens_with_what_it_is():
    """A sentence at the top of each file."""
    assert [name for _, name, tree in modules() if not ast.get_docstring(tree)] == []


def test_test_files_have_names_of_their_own():
    """A name stands for one file in a report of failures; shared fixtures alone repeat theirs."""
    folder = Path(__file__).parents[1]
    names = [path.name for path in folder.rglob("*.py") if path.name != "conftest.py"]
    assert sorted(names) == sorted(set(names))
