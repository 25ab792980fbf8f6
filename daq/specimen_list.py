"""What is on the rig and what comes after it. A value: each change makes a new one."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

Specimen = Mapping[str, str | float]


def label_of(specimen: Specimen) -> str:
    """Return the label on the wood, "" without one."""
    return str(specimen.get("label", ""))


@dataclass(frozen=True, slots=True)
class SpecimenList:
    """The specimen on the rig, and those to come in their order (the one on the rig among them)."""

    on_rig: Specimen = field(default_factory=dict)
    to_come: tuple[Specimen, ...] = ()
    pulled: Specimen | None = None  # what the pull that is on began with

    @property
    def next_label(self) -> str:
        """The label after the one on the rig, "" where the list says none."""
        others = (label for s in self.to_come if (label := label_of(s)) != label_of(self.on_rig))
        return next(others, "")

    def put_on(self, specimen: Specimen) -> "SpecimenList":
        """Return the list with a person's word on what is on the rig."""
        return replace(self, on_rig=dict(specimen))

    def began(self) -> "SpecimenList":
        """Return the list while the specimen on the rig is pulled."""
        return replace(self, pulled=self.on_rig)

    def ended(self) -> "SpecimenList":
        """Return the list after the pull: its specimen struck off, the first of the rest put on.

        What a person put on during the pull stays on. Without a list the label goes, as no two
        pieces of wood share one; what else was said of the specimen stays.
        """
        pulled = self.on_rig if self.pulled is None else self.pulled
        rest = tuple(s for s in self.to_come if label_of(s) != label_of(pulled))
        on_rig = self.on_rig
        if on_rig is pulled and self.to_come:
            on_rig = rest[0] if rest else {}
        elif on_rig is pulled:
            on_rig = {key: value for key, value in on_rig.items() if key != "label"}
        return SpecimenList(on_rig, rest)
