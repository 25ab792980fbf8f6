"""What a screen beside the live one is, and what it may ask of the console.

It is drawn below a strip with the force, the state and the room left; STOP, FORCE UNKNOWN and the
start of a pull take the whole screen back by themselves.
"""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from daq.rig.rig import Rig
from tui.drawing import Line
from tui.session import Session

if TYPE_CHECKING:
    from tui.settings import Settings
    from tui.view import View


class Desk(Protocol):
    """What a page may ask of the console."""

    session: Session
    settings: "Settings"

    @property
    def view(self) -> "View":
        """What is shown."""
        ...

    def say(self, message: str) -> None:
        """Show an answer to the person for a while."""
        ...

    def ask_line(self, question: str, answer: Callable[[str], None], text: str = "") -> None:
        """Ask for a line in the strip at the bottom."""
        ...

    def ask_key(self, question: str, answer: Callable[[str], None]) -> None:
        """Ask for one key."""
        ...

    def request(self, call: Callable[[], None], done: str) -> bool:
        """Ask the session for something and say what came of it."""
        ...

    def use_rig(self, rig: Rig) -> None:
        """Go on with changed limits of the same rig."""
        ...

    def use_rig_file(self, path: Path) -> None:
        """Go on with the rig file as it was changed: its text is what the next change begins with.

        Raises InputFault.
        """
        ...

    def apply(self, settings: "Settings") -> None:
        """Use other settings from now on, and keep them."""
        ...


class Page(Protocol):
    """A screen beside the live one. ``name`` is that of its key in ``key_table``."""

    name: str

    def look(self) -> None:
        """Some times a second: take in what came. May wait for nothing."""
        ...

    def draw(self, view: "View", width: int, height: int) -> list[Line]:
        """Return the lines of the page."""
        ...

    def press(self, key: str, pressed: str) -> None:
        """Do what the page's key of this id stands for; ``pressed`` is what was pressed."""
        ...

    def close(self) -> None:
        """The page is left."""
        ...
