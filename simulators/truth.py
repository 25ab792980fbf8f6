"""What really happened, which only a simulator knows: the truth file.

Forces N at the specimen, times s on the board's clock (from the start of the board; a restart by
fault does not set it back here), counts as sent.

``samples_sent`` is what the board meant to send while somebody read, what a fault took away
included; of those, ``expected`` says how many a reader that follows the wire protocol keeps
(``good``), rejects by kind (``bad_lines``) and misses (``lost``): the three add up to
``samples_sent``. ``samples_unread`` came due while the port was closed, or open but full, and were
not sent. ``lines_sent`` is lines (or frames) that went out, messages included.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class TrueCrack:
    """One sudden loss that recovered."""

    time_s: float
    force_n: float
    drop_n: float


@dataclass(frozen=True, slots=True)
class TruePull:
    """One pull."""

    kind: str
    mode: str
    reason: str
    max_force_n: float
    time_of_max_s: float
    time_to_max_s: float  # since the force last rose through ``start_force_n``
    start_of_load_s: float
    end_of_load_s: float
    yield_force_n: float  # NaN: none to be told from the strength
    cracks: tuple[TrueCrack, ...]
    friction_share: float  # what the pins add to the cells while cranking, of the force
    begins_s: float
    ends_s: float


@dataclass(frozen=True, slots=True)
class TrueWeight:
    """One weight put on: where, over which cell (counted from 0; None: in the middle), how long."""

    mass_kg: float
    where: str
    over_cell: int | None
    begins_s: float
    ends_s: float


@dataclass(frozen=True, slots=True)
class TrueFault:
    """One injected fault: which sample (counted from 0), when, and what was done."""

    kind: str
    sample: int
    time_s: float
    what: str
    samples: int = 1  # how many it touched


@dataclass(frozen=True, slots=True)
class Delivery:
    """What went over the wire."""

    samples_sent: int = 0
    lines_sent: int = 0
    messages_sent: int = 0
    samples_unread: int = 0  # not sent: nobody read, so the board dropped them
    good: int = 0
    bad_lines: Mapping[str, int] = field(default_factory=dict)
    complete: bool = False  # the script ran to its end (or to its unplugging)

    @property
    def lost(self) -> int:
        """Samples meant for the wire of which a reader sees nothing of their own."""
        return self.samples_sent - self.good - sum(self.bad_lines.values())


@dataclass(frozen=True, slots=True)
class Truth:
    """All of it."""

    scenario: str
    seed: int
    rig_file: str
    ratio: float
    start_force_n: float
    stop_force_n: float
    cells: tuple[str, ...]
    zero_counts: tuple[float, ...]
    gains: tuple[float, ...]  # true counts per newton of each cell, with sign
    shares: tuple[float, ...]
    share_drift: tuple[float, ...]
    samples_per_s: float
    clock_error: float
    duration_s: float
    pulls: tuple[TruePull, ...]
    faults: tuple[TrueFault, ...] = ()
    delivery: Delivery = Delivery()
    weights: tuple[TrueWeight, ...] = ()  # instead of pulls: known weights put on

    @property
    def first_load_s(self) -> float:
        """When the first load comes."""
        return self.pulls[0].start_of_load_s if self.pulls else self.weights[0].begins_s

    @property
    def strongest(self) -> TruePull:
        """The pull with the largest maximum."""
        return max(self.pulls, key=lambda pull: pull.max_force_n)

    @property
    def max_force_n(self) -> float:
        """Largest force at the specimen."""
        return self.strongest.max_force_n


def as_document(truth: Truth) -> dict[str, Any]:
    """Return the truth as JSON can hold it; at the top, the (strongest) pull if there is one."""
    document = asdict(truth.strongest) if truth.pulls else {}
    document |= {key: value for key, value in asdict(truth).items() if key != "delivery"}
    delivery = asdict(truth.delivery)
    document["expected"] = {
        "good": delivery.pop("good"),
        "bad_lines": delivery.pop("bad_lines"),
        "lost": truth.delivery.lost,
    }
    plain: dict[str, Any] = _plain(document | delivery)
    return plain


def write_truth(path: Path, truth: Truth) -> None:
    """Write the truth file at once, so that nobody reads half of it."""
    part = path.with_name(f".{path.name}.part")
    part.write_text(json.dumps(as_document(truth), indent=2) + "\n", encoding="utf-8")
    part.replace(path)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
