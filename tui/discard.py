"""Why a pull does not count: asked with one key, as modes are; a reason of one's own is typed."""

from collections.abc import Callable
from typing import Protocol

from tui.key_table import DISCARD_REASONS, TYPED

NO_BREAK = "\N{NO-BREAK SPACE}"


class Asker(Protocol):
    """Who may ask a person."""

    def say(self, message: str) -> None:
        """Show an answer to the person for a while."""
        ...

    def ask_line(self, question: str, answer: Callable[[str], None], text: str = "") -> None:
        """Ask for a line."""
        ...

    def ask_key(self, question: str, answer: Callable[[str], None]) -> None:
        """Ask for one key."""
        ...


def ask_reason(desk: Asker, what: str, take: Callable[[str], None]) -> None:
    """Ask why ``what`` is invalid; ``take`` gets a reason, or is never called."""

    def typed(text: str) -> None:
        if text.strip():
            take(text.strip())
        else:
            desk.say("not discarded: a reason is needed")

    def pressed(key: str) -> None:
        if key in DISCARD_REASONS:
            take(DISCARD_REASONS[key])
        elif key == TYPED:
            desk.ask_line(f"Why is {what} invalid?", typed)
        else:
            desk.say("not discarded: that key stands for no reason")

    choices = {**DISCARD_REASONS, TYPED: "type it", "Esc": "leave"}
    whole = [f"{key} {reason}".replace(" ", NO_BREAK) for key, reason in choices.items()]
    desk.ask_key(f"Why is {what} invalid? (it is kept)  {'  '.join(whole)}", pressed)
