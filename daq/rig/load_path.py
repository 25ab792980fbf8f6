"""Will the rig take it: every part of the load path, expressed at the specimen, weakest first.

Home-made limits: nothing here replaces local codes or licensed practice.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from daq.faults import InputFault, Problem
from daq.force.lever import (
    friction_loss_rel,
    jack_force_n,
    limit_at_specimen_n,
    ratio_u_rel,
    with_ratio,
)
from daq.rig.beam import (
    beam_forces,
    bearing_mpa,
    bending_mpa,
    crack_line_share,
    loaded_edge_mm,
    screws_tension_n,
    screws_withdrawal_n,
    shear_mpa,
    splitting_shear_n,
)
from daq.rig.pin_strength import pin_bending_mpa, pin_shear_mpa
from daq.rig.rig import ActsAt, Beam, Cell, Lever, Pin, ReinforcingScrews, Rig
from daq.rig.screw_jack import JackEffort, jack_effort
from daq.rig.stored_energy import stored_energy_j
from daq.rig.toml_lines import line_numbers, line_of
from daq.rig.wood_stress import (
    JOINT_FACTOR,
    Allowed,
    allowed_bearing,
    allowed_bending,
    allowed_shear,
    low_density,
)
from daq.units import format_force

#: The stop may be set to this part of the weakest known limit, no higher.
STOP_SHARE = 0.95
#: A stop typed as 0.95 x the limit is not above it for the last binary digit.
ROUNDING = 1e-9
#: Divisors on a screw's withdrawal and on the breaking of its core (common practice, no source).
WITHDRAWAL_FACTOR = 2.5
TENSION_FACTOR = 1.5


@dataclass(frozen=True, slots=True)
class PathPart:
    """One part: its own limit where it acts, and the same at the specimen (N; None: unknown)."""

    name: str
    acts_at: ActsAt
    limit_n: float | None
    limit_at_specimen_n: float | None
    source: str


@dataclass(frozen=True, slots=True)
class LoadPath:
    """The whole path of one rig at one ratio; parts weakest first, unknown ones last."""

    parts: tuple[PathPart, ...]
    stop_n: float
    ratio: float
    u_ratio_rel: float
    friction_loss_rel: float
    stored_energy_j: float | None
    effort_at_stop: JackEffort | None
    cautions: tuple[str, ...]

    @property
    def weakest(self) -> PathPart:
        """The known part with the lowest limit at the specimen (a rig has a cell at least)."""
        return self.parts[0]

    @property
    def stop_allowed_n(self) -> float:
        """The highest stop this rig may have, at the specimen."""
        assert self.weakest.limit_at_specimen_n is not None
        return STOP_SHARE * self.weakest.limit_at_specimen_n

    @property
    def stop_ok(self) -> bool:
        """Whether the stop is low enough."""
        return self.stop_n <= self.stop_allowed_n * (1.0 + ROUNDING)

    @property
    def unknown(self) -> tuple[str, ...]:
        """Names of the parts whose limit nobody knows."""
        return tuple(part.name for part in self.parts if part.limit_at_specimen_n is None)


def load_path(rig: Rig, shares: Sequence[float] | None = None) -> LoadPath:
    """Return the load path of a rig. ``shares`` are the measured parts of the cells, if any."""
    parts = [
        *_cell_parts(rig, shares),
        *_jack_part(rig),
        *_listed_parts(rig, shares),
        *_pin_parts(rig, shares),
        *_beam_parts(rig),
    ]
    parts.sort(key=lambda part: (part.limit_at_specimen_n is None, part.limit_at_specimen_n or 0.0))
    energy = None
    if rig.stiffness_n_per_mm is not None:
        energy = stored_energy_j(rig.stop.stop_n, rig.stiffness_n_per_mm)
    effort = jack_effort(jack_force_n(rig.stop.stop_n, rig.lever), rig.jack)
    return LoadPath(
        parts=tuple(parts),
        stop_n=rig.stop.stop_n,
        ratio=rig.lever.ratio,
        u_ratio_rel=ratio_u_rel(rig.lever),
        friction_loss_rel=friction_loss_rel(rig.lever),
        stored_energy_j=energy,
        effort_at_stop=effort,
        cautions=tuple(_cautions(rig, shares, effort)),
    )


def at_ratio(rig: Rig, ratio: float) -> Rig:
    """Return the rig with its hook moved so that the lever has another ratio.

    Raises InputFault where no place on the beam gives it.
    """
    if not math.isfinite(ratio) or ratio <= 0.0:
        raise InputFault(f"a ratio of {ratio:g} is not possible; write a number above zero")
    lever = rig.lever
    if lever.fulcrum == "end" and ratio < 1.0:
        raise InputFault(
            f"a ratio of {ratio:g} is not possible: with the fulcrum at the end the hook lies "
            "between fulcrum and jack, so the ratio is 1 or more"
        )
    return replace(rig, lever=with_ratio(lever, ratio))


def stop_problems(rig: Rig) -> list[Problem]:
    """Return the reasons why the stop of a rig may not stand: empty where it may."""
    path = load_path(rig)
    if path.stop_ok:
        return []
    message = (
        f"{_force(path.stop_n)} is above the {_force(path.stop_allowed_n)} that this rig allows: "
        f"{weakest_in_words(path)}. Lower the stop, or make that part stronger"
    )
    file = str(rig.path) if rig.path is not None else rig.name
    line = line_of(line_numbers(rig.text), ("stop", "stop"))
    return [Problem(file, line, "stop.stop", message)]


def weakest_in_words(path: LoadPath) -> str:
    """Return the weakest part, its limit and why, as part of a sentence."""
    part = path.weakest
    assert part.limit_at_specimen_n is not None
    return (
        f"{STOP_SHARE:g} x the weakest part, {part.name}, good for "
        f"{_force(part.limit_at_specimen_n)} at the specimen ({part.source})"
    )


def assumed_share(cells: int) -> tuple[float, str]:
    """Return the part of the load on the worst cell when nobody measured it, and the assumption."""
    if cells == 1:
        return 1.0, "one cell carries all"
    if cells == 2:
        return 0.6, "60/40 share assumed"
    return 0.5, f"two of {cells} cells assumed to carry all"


def _cell_parts(rig: Rig, shares: Sequence[float] | None) -> Iterator[PathPart]:
    worst, assumption = assumed_share(len(rig.cells))
    for index, cell in enumerate(rig.cells):
        share, why = worst, assumption
        if shares is not None:
            share, why = shares[index], f"{100.0 * shares[index]:.0f} % of the load measured"
        source = f"capacity {format_force(cell.capacity_n, 'kgf')}, {why}"
        yield _part(rig, _cell_name(cell), "cell", cell.capacity_n, source, share)


def _cell_name(cell: Cell) -> str:
    return cell.name if "cell" in cell.name.casefold() else f"cell {cell.name}"


def _jack_part(rig: Rig) -> Iterator[PathPart]:
    source = "capacity as given" if rig.jack.capacity_n is not None else "no capacity given"
    yield _part(rig, "jack", "jack", rig.jack.capacity_n, source)


def _listed_parts(rig: Rig, shares: Sequence[float] | None) -> Iterator[PathPart]:
    for part in rig.parts:
        source = part.source or "limit unknown"
        share = _worst_share(rig, shares) if part.acts_at == "cell" else 1.0
        yield _part(rig, part.name, part.acts_at, part.limit_n, source, share)


def _worst_share(rig: Rig, shares: Sequence[float] | None) -> float:
    return assumed_share(len(rig.cells))[0] if shares is None else max(shares)


def _pin_parts(rig: Rig, shares: Sequence[float] | None) -> Iterator[PathPart]:
    for pin in rig.pins:
        share = _worst_share(rig, shares) if pin.acts_at == "cell" else 1.0
        shear, bending = pin_shear_mpa(1.0, pin), pin_bending_mpa(1.0, pin)
        yield _pin_part(rig, pin, "shear", pin.allowed_shear_mpa, shear, share)
        yield _pin_part(rig, pin, "bending", pin.allowed_bending_mpa, bending, share)


def _pin_part(
    rig: Rig, pin: Pin, what: str, allowed: float | None, stress_per_n: float, share: float
) -> PathPart:
    limit = None
    source = f"give allowed_{what} of the pin"
    if allowed is not None:
        limit = allowed / stress_per_n
        source = f"pin of {pin.diameter_mm:g} mm, allowed {what} {allowed:g} N/mm2 as given"
    return _part(rig, f"{pin.name}, {what}", pin.acts_at, limit, source, share)


def _part(
    rig: Rig, name: str, acts_at: ActsAt, limit_n: float | None, source: str, share: float = 1.0
) -> PathPart:
    at_specimen = None
    if limit_n is not None:
        at_specimen = limit_at_specimen_n(limit_n, acts_at, rig.lever, share)
    return PathPart(name, acts_at, limit_n, at_specimen, source)


def _beam_parts(rig: Rig) -> Iterator[PathPart]:
    beam = rig.beam
    if beam is None:
        yield PathPart("beam", "specimen", None, None, "no [beam] is given")
        return
    forces = beam_forces(1.0, rig.lever)
    bending = bending_mpa(forces.moment_nmm, beam)
    yield _beam_part("beam bending at the hole", allowed_bending(beam), bending)
    yield _beam_part("beam shear", allowed_shear(beam), shear_mpa(forces.shear_n, beam))
    if beam.hole_mm == 0.0:
        why = "no hole is given; say how the hook hangs on the beam"
        yield PathPart("beam bearing at the hole", "specimen", None, None, why)
        yield PathPart("beam splitting at the hole", "specimen", None, None, why)
        return
    bearing = bearing_mpa(forces.at_hole_n, beam)
    yield _beam_part("beam bearing at the hole", allowed_bearing(beam), bearing)
    yield from _splitting_parts(beam, rig.lever)


def _beam_part(name: str, allowed: Allowed, stress_per_n: float) -> PathPart:
    limit = None
    if allowed.value is not None:
        limit = allowed.value / stress_per_n if stress_per_n > 0.0 else math.inf
    return PathPart(name, "specimen", limit, limit, allowed.source)


def _splitting_parts(beam: Beam, lever: Lever) -> list[PathPart]:
    """Return the plain wood across the grain, or the screws that take its place if stronger."""
    wood_n = splitting_shear_n(beam) / JOINT_FACTOR / beam_forces(1.0, lever).shear_n
    edge = loaded_edge_mm(beam)
    source = f"loaded edge {edge:g} mm, softwood rule / {JOINT_FACTOR:g}"
    plain = PathPart("beam splitting at the hole", "specimen", wood_n, wood_n, source)
    if beam.screws is None:
        return [plain]
    screws = _screw_parts(beam, beam.screws, lever)
    known = [part.limit_n for part in screws if part.limit_n is not None]
    if len(known) == len(screws) and min(known) > wood_n:
        return screws
    return [plain, *(part for part in screws if part.limit_n is None)]


def _screw_parts(beam: Beam, screws: ReinforcingScrews, lever: Lever) -> list[PathPart]:
    asked = crack_line_share(beam) * beam_forces(1.0, lever).at_hole_n
    density = low_density(beam)
    withdrawal = None
    if density.value is not None:
        withdrawal = screws_withdrawal_n(screws, density.value) / WITHDRAWAL_FACTOR / asked
    tension = screws_tension_n(screws) / TENSION_FACTOR / asked
    across = f"{screws.count} screws take {100.0 * asked:.0f} % of the force across the crack line"
    return [
        PathPart(
            "reinforcing screws, withdrawal", "specimen", withdrawal, withdrawal,
            f"{across}; withdrawal on either side / {WITHDRAWAL_FACTOR:g}, {density.source}",
        ),
        PathPart(
            "reinforcing screws, tension", "specimen", tension, tension,
            f"{across}; core breaking at 400 N/mm2 / {TENSION_FACTOR:g}",
        ),
    ]  # fmt: skip


def _cautions(rig: Rig, shares: Sequence[float] | None, effort: JackEffort | None) -> Iterator[str]:
    if shares is None and len(rig.cells) > 1:
        yield f"{assumed_share(len(rig.cells))[1]}: press on the rig and look at each cell's part"
    if effort is not None and not effort.self_locking:
        yield "the jack is not self-locking: it runs back when the crank is let go"
    if effort is None:
        yield "give mean_diameter and friction in [jack] to know the crank force and self-locking"
    if rig.stiffness_n_per_mm is None:
        yield "give stiffness in [rig] to know the energy that is set free when something breaks"
    if rig.lever.contact == "flat":
        yield "a flat contact lets the arm wander: use a pin or a rounded cap"
    if friction_loss_rel(rig.lever) > 0.01:
        loss = 100.0 * friction_loss_rel(rig.lever)
        yield f"pin friction takes {loss:.1f} % of the force: the shown force is that much high"
    yield from _hole_cautions(rig.beam)


def _hole_cautions(beam: Beam | None) -> Iterator[str]:
    if beam is None or beam.hole_mm == 0.0:
        return
    edge = beam.depth_mm / 2.0 - abs(beam.hole_offset_mm)
    if edge < 4.0 * beam.hole_mm:
        yield (
            f"the hole's middle is {edge:g} mm from an edge of the beam; common practice keeps "
            f"4 hole diameters ({4.0 * beam.hole_mm:g} mm), and 7 from an end"
        )


def _force(force_n: float) -> str:
    return format_force(force_n, "kN")
