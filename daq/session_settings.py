"""What a person chose before the first sample."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from daq.force.zero import Zero
from daq.specimen_list import Specimen


@dataclass(frozen=True, slots=True)
class SessionSettings:
    """What a person chose for this session."""

    specimen: Specimen = field(default_factory=dict)
    to_come: tuple[Specimen, ...] = ()  # a plan's list, ``specimen`` among it
    auto_zero: bool = False  # take the zero whenever the hook is slack and quiet, before each pull
    zero: Zero | None = None  # a zero known beforehand: a replay
    notes: Mapping[str, str] = field(default_factory=dict)
    board_before: str = ""  # what the board called itself last time
