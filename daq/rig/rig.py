"""What a rig is, as values: link, cells, lever, beam, parts, stop, jack. Newtons, mm, seconds.

`rig_file` reads and writes these; nothing here touches a file.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

ActsAt = Literal["specimen", "jack", "cell", "fulcrum"]
Checksum = Literal["none", "xor", "crc"]


@dataclass(frozen=True, slots=True)
class Link:
    """How the board is reached and what its lines hold (docs/wire_protocol.md)."""

    fields: tuple[str, ...]
    port: str | None = None
    baud: int = 115200
    format: Literal["text", "packet"] = "text"
    separator: str = ","
    checksum: Checksum = "none"


@dataclass(frozen=True, slots=True)
class Cell:
    """One load cell: its field on the wire, capacity, sign, and its line where no file has one."""

    name: str
    field: str
    capacity_n: float
    sign: int = 1
    counts_per_newton: float | None = None


@dataclass(frozen=True, slots=True)
class Lever:
    """The lever between jack and specimen. Offsets: pin above (+) or below (-) the line of pins."""

    fulcrum: Literal["end", "between"]
    jack_arm_mm: float
    specimen_arm_mm: float
    arm_uncertainty_mm: float = 1.0
    jack_pin_offset_mm: float = 0.0
    specimen_pin_offset_mm: float = 0.0
    max_tilt_deg: float = 3.0
    pin_radius_mm: float = 0.0
    pin_friction: float = 0.0
    contact: Literal["pin", "rounded", "flat"] = "pin"

    @property
    def ratio(self) -> float:
        """Specimen force over jack force: jack arm / specimen arm."""
        return self.jack_arm_mm / self.specimen_arm_mm


@dataclass(frozen=True, slots=True)
class ReinforcingScrews:
    """Screws across the crack line at the hook hole."""

    count: int
    diameter_mm: float
    length_each_side_mm: float
    core_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Beam:
    """The lever beam's section, its hole, and what its wood may carry (N/mm2)."""

    breadth_mm: float
    depth_mm: float
    hole_mm: float = 0.0
    hole_offset_mm: float = 0.0
    loaded_edge_mm: float | None = None
    species: str | None = None
    density_kg_m3: float | None = None
    allowed_bending_mpa: float | None = None
    allowed_shear_mpa: float | None = None
    allowed_bearing_mpa: float | None = None
    screws: ReinforcingScrews | None = None
    length_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin held in two side members and pulled by one between them; stresses in N/mm2."""

    name: str
    acts_at: ActsAt
    diameter_mm: float
    middle_mm: float
    side_mm: float
    gap_mm: float = 0.0
    allowed_shear_mpa: float | None = None
    allowed_bending_mpa: float | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the load path, its limit (None: unknown) and where that limit acts."""

    name: str
    limit_n: float | None
    acts_at: ActsAt
    source: str


@dataclass(frozen=True, slots=True)
class Stop:
    """Where cranking must end, at the specimen. A notice, not a safety function."""

    stop_n: float
    warn_n: float
    stale_after_s: float = 0.5
    alarm_line: Literal["rts", "dtr", "none"] = "none"


@dataclass(frozen=True, slots=True)
class Jack:
    """The screw jack."""

    lead_mm: float
    capacity_n: float | None = None
    mean_diameter_mm: float | None = None
    friction: float | None = None
    collar_radius_mm: float | None = None
    crank_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Rig:
    """A rig build: everything the load passes through, and the file it was read from."""

    name: str
    build: str
    link: Link
    cells: tuple[Cell, ...]
    lever: Lever
    stop: Stop
    jack: Jack
    beam: Beam | None = None
    parts: tuple[Part, ...] = ()
    notes: str = ""
    calibration_file: Path | None = None
    stiffness_n_per_mm: float | None = None
    path: Path | None = None
    text: str = ""
    pins: tuple[Pin, ...] = ()
    latitude_deg: float | None = None  # of the place, for the gravity of known weights
    height_m: float = 0.0  # above the sea
