"""What a person said about a pull after it: mode, note, invalid, a mark moved. The newest holds."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from daq.record.reader import Recording

MODE, INVALID, NOTE, LANDMARK = "mode", "invalid", "note", "landmark"
#: Landmarks that a person may move.
MOVABLE = ("yield",)
#: Modes in which the specimen was not what failed: they say nothing about its strength.
NOT_THE_SPECIMEN = ("grip slipped", "rig part failed")


@dataclass(frozen=True, slots=True)
class MovedMark:
    """A mark as a person put it: at which sample, when that was done, and why."""

    landmark: str
    index: int  # of the sample, as the recording counts them
    at: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class PersonWords:
    """The newest word on each matter; "" where there is none or it was taken back."""

    mode: str = ""
    invalid: str = ""  # the reason
    counts: bool = False  # a discard was taken back: a person says that the pull counts
    note: str = ""
    moved: Mapping[str, MovedMark] = field(default_factory=dict)


def person_words(recording: Recording) -> PersonWords:
    """Return the person's words in a recording's history; what does not make sense is no word."""
    said: dict[str, str] = {}
    moved: dict[str, MovedMark] = {}
    for each in recording.history:
        said |= {key: str(each.change[key]) for key in (MODE, INVALID, NOTE) if key in each.change}
        landmark, index = each.change.get(LANDMARK), each.change.get("index")
        if landmark in MOVABLE and isinstance(index, int):
            moved[str(landmark)] = MovedMark(str(landmark), index, each.at, each.reason)
    return PersonWords(
        mode=said.get(MODE, ""),
        invalid=said.get(INVALID, ""),
        counts=said.get(INVALID) == "",
        note=said.get(NOTE, ""),
        moved=moved,
    )
