"""Finding a command by a few letters of its name: the key table, searched. Pure."""

from dataclasses import dataclass

from tui.key_table import KEYS, At, Key, known_at


@dataclass(frozen=True, slots=True)
class Find:
    """What was typed, and which of the commands found is chosen."""

    text: str = ""
    chosen: int = 0


def find_keys(text: str, at: At) -> list[Key]:
    """Return the commands whose name or help holds the letters in order, the closest first."""
    letters = text.lower().replace(" ", "")
    known = known_at(KEYS, at)
    ranked = [(rank, place, key) for place, key in enumerate(known)
              if (rank := _rank(letters, key)) is not None]  # fmt: skip
    return [key for _, _, key in sorted(ranked, key=lambda one: one[:2])]


def _rank(letters: str, key: Key) -> int | None:
    """Return how far the letters are spread in the name (or, worse, in the help); None: not."""
    for start, words in ((0, key.label), (100, key.help)):
        spread = _spread(letters, words.lower())
        if spread is not None:
            return start + spread
    return None


def _spread(letters: str, words: str) -> int | None:
    at = -1
    first = None
    for letter in letters:
        at = words.find(letter, at + 1)
        if at < 0:
            return None
        first = at if first is None else first
    return 0 if first is None else at - len(letters) + 1 + (first > 0)
