"""What must hold between the keys of a rig file; each broken rule is a place and a sentence."""

from collections import Counter
from collections.abc import Iterator, Sequence

from daq.rig.rig import Beam, Cell, Lever, Link, Part, Pin, Stop
from daq.rig.toml_lines import Place

CLOCKS = ("time_us", "time_ms")
NOT_CELLS = (*CLOCKS, "skip")
MOST_CELLS = 16

Broken = Iterator[tuple[Place, str]]


def link_rules(link: Link, cells: Sequence[Cell]) -> Broken:
    """Fields and cells must name each other, once; one clock at most."""
    place: Place = ("link", "fields")
    clocks = [field for field in link.fields if field in CLOCKS]
    if len(clocks) > 1:
        yield place, f"found the clocks {' and '.join(clocks)}; a line carries one clock at most"
    wired = [field for field in link.fields if field not in NOT_CELLS]
    for field, times in Counter(wired).items():
        if times > 1:
            yield place, f'found "{field}" {times} times; each field is named once'
    known = {cell.field for cell in cells}
    for field in dict.fromkeys(wired):
        if field not in known:
            yield (
                place,
                (
                    f'"{field}" is no cell\'s field; name a [[cell]] with field = "{field}", '
                    'or write "skip" for a field to throw away'
                ),
            )
    for index, cell in enumerate(cells):
        if cell.field not in link.fields:
            yield (
                ("cell", index, "field"),
                (
                    f'"{cell.field}" is not in the fields of [link]; they are '
                    f"{', '.join(link.fields)}"
                ),
            )


def cell_rules(cells: Sequence[Cell]) -> Broken:
    """Every cell has a field and a name of its own."""
    if len(cells) > MOST_CELLS:
        yield ("cell",), f"found {len(cells)} cells; at most {MOST_CELLS} can be read"
    for index, cell in enumerate(cells):
        if cell.field in NOT_CELLS:
            yield ("cell", index, "field"), f'"{cell.field}" is no name for a load cell\'s field'
        if cell.field in {other.field for other in cells[:index]}:
            yield ("cell", index, "field"), f'"{cell.field}" belongs to another cell already'
    yield from _names_are_unique("cell", [cell.name for cell in cells])


def part_rules(parts: Sequence[Part]) -> Broken:
    """Every part has a name of its own, and a known limit says where it comes from."""
    yield from _names_are_unique("part", [part.name for part in parts])
    for index, part in enumerate(parts):
        if part.limit_n is not None and not part.source.strip():
            yield (
                ("part", index, "source"),
                (
                    'is missing; say where the limit comes from, such as "data sheet", '
                    '"bolt 4.6, 36.6 mm2 x 225 MPa" or "guess"'
                ),
            )


def pin_rules(pins: Sequence[Pin]) -> Broken:
    """Every pin has a name of its own."""
    yield from _names_are_unique("pin", [pin.name for pin in pins])


def lever_rules(lever: Lever, beam: Beam | None) -> Broken:
    """The arms lie on the beam, and the hook of an end-fulcrum lever lies short of the jack."""
    if lever.fulcrum == "end" and lever.jack_arm_mm < lever.specimen_arm_mm:
        yield (
            ("lever", "specimen_arm"),
            (
                f"{lever.specimen_arm_mm:g} mm is longer than jack_arm ({lever.jack_arm_mm:g} mm); "
                'with fulcrum = "end" the hook lies between the fulcrum and the jack'
            ),
        )
    if lever.arm_uncertainty_mm >= min(lever.jack_arm_mm, lever.specimen_arm_mm):
        yield (
            ("lever", "arm_uncertainty"),
            (f"{lever.arm_uncertainty_mm:g} mm is not smaller than the shorter arm"),
        )
    if beam is None or beam.length_mm is None:
        return
    between = lever.fulcrum == "between"
    reach = lever.jack_arm_mm + (lever.specimen_arm_mm if between else 0.0)
    if reach > beam.length_mm:
        what = "jack_arm and specimen_arm together reach" if between else "jack_arm reaches"
        yield (
            ("lever", "jack_arm"),
            (f"{what} {reach:g} mm, but the beam is {beam.length_mm:g} mm long"),
        )


def beam_rules(beam: Beam) -> Broken:
    """The hole and the loaded edge lie in the section; a screw's core lies inside its thread."""
    edge_of_hole = abs(beam.hole_offset_mm) + beam.hole_mm / 2
    if edge_of_hole >= beam.depth_mm / 2:
        yield (
            ("beam", "hole"),
            (
                f"a hole of {beam.hole_mm:g} mm, {beam.hole_offset_mm:g} mm off the middle, does "
                f"not fit a beam {beam.depth_mm:g} mm deep"
            ),
        )
    if beam.loaded_edge_mm is not None and beam.loaded_edge_mm >= beam.depth_mm:
        yield (
            ("beam", "loaded_edge"),
            (
                f"{beam.loaded_edge_mm:g} mm from the loaded edge to the hole is not less than the "
                f"depth of {beam.depth_mm:g} mm"
            ),
        )
    screws = beam.screws
    if screws and screws.core_mm is not None and screws.core_mm > screws.diameter_mm:
        yield ("beam", "screws", "core"), "is larger than the diameter over the thread"


def stop_rules(stop: Stop) -> Broken:
    """The warning comes before the stop."""
    if stop.warn_n >= stop.stop_n:
        yield (
            ("stop", "warn"),
            (
                f"{stop.warn_n / 1000:g} kN is not below the stop of {stop.stop_n / 1000:g} kN; "
                "the warning must come first"
            ),
        )


def _names_are_unique(section: str, names: Sequence[str]) -> Broken:
    for index, name in enumerate(names):
        if name in names[:index]:
            yield (section, index, "name"), f'"{name}" is used twice; give each {section} its own'
