"""What a session brings to the console besides its readings: the rig, the plan, the folder ..."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from analysis.campaign_plan import Plan
from daq.rig.rig import Rig
from tui.key_table import At
from tui.screens.link_page import LinkPlace
from tui.settings import Settings


class Crank(Protocol):
    """A simulated rig that a person cranks with keys."""

    def turn(self, turns: float) -> None:
        """Turn the crank; back: negative."""
        ...

    def fresh(self) -> None:
        """Put a new specimen in; refused (Fault) unless wound back."""
        ...


class Playing(Protocol):
    """A replay that can be led. Times in seconds of the recording."""

    @property
    def words(self) -> str:
        """Where it stands, for a person."""
        ...

    def pause(self) -> None:
        """Stand still, or go on."""
        ...

    def skip(self, seconds: float, *, stand: bool = False) -> None:
        """Go on (back: negative) by so much; ``stand``: and stay there."""
        ...

    def quicken(self, factor: float) -> None:
        """Play so many times faster."""
        ...


@dataclass(frozen=True, slots=True)
class Around:
    """``expected_n`` maps a label to the maximum its plan expects."""

    at: At = At.RIG
    rig: Rig | None = None
    folder: Path | None = None
    plan: Plan | None = None
    link: LinkPlace = field(default_factory=lambda: LinkPlace(None, None, ("left", "right")))
    crank: Crank | None = None
    playing: Playing | None = None
    settings: Settings = field(default_factory=Settings)
    settings_file: Path | None = None

    @property
    def expected_n(self) -> Mapping[str, float]:
        """Label to the maximum its plan expects, where it does."""
        pulls = () if self.plan is None else self.plan.pulls
        return {pull.label: pull.expected_n for pull in pulls if pull.expected_n > 0}
