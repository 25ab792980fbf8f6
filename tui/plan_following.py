"""Working through a plan: which specimens are still to come, and what departs from the list."""

import math
from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from pathlib import Path

from analysis.campaign_plan import Plan, departure_of
from analysis.plan_folder import record_departure
from daq.faults import Fault, InputFault, RecordingFault
from daq.specimen_list import Specimen, label_of

AT_THE_RIG = "as it was said at the rig"


def labels_done(folder: Path) -> set[str]:
    """Return the labels that recordings in a folder carry: each stands for a hole that is used."""
    from daq.record.reader import read_recording

    labels = set()
    for path in sorted(folder.glob("*.h5")) if folder.is_dir() else ():
        try:
            labels.add(label_of(read_recording(path).header.specimen))
        except RecordingFault as fault:
            raise RecordingFault(
                f"{fault} Which specimen it was is unknown, so the next of the plan is too: move "
                "it out of the folder, or mend it."
            ) from None
    return labels - {""}


def specimens_to_come(plan: Plan, done: Collection[str], said: Specimen) -> tuple[Specimen, ...]:
    """Return the specimens still to pull, the first to come first, with what a person ``said``.

    With a label all that was said belongs to that specimen, which comes first: its planned entries
    if it is on the list, else what was said alone. Without a label it goes on every specimen.
    Raises InputFault at the end of the list.
    """
    rest = [{**pull.specimen, "run": float(pull.run)} for pull in plan.pulls]
    label = label_of(said)
    if label:
        planned: Specimen = next((s for s in rest if label_of(s) == label), {})
        rest = [s for s in rest if label_of(s) not in {label, *done}]
        return ({**planned, **said}, *rest)
    rest = [{**s, **said} for s in rest if label_of(s) not in done]
    if not rest:
        raise InputFault(
            f"every one of the {len(plan.pulls)} pulls of the plan is recorded already; name a "
            "specimen that is not on the list with --specimen label=..."
        )
    return tuple(rest)


def departures(plan: Plan, done: Collection[str], specimen: Specimen) -> list[str]:
    """Return what is different from the list when ``specimen`` is pulled now."""
    label = label_of(specimen)
    if not label:
        return ["a pull without a label"]
    order = departure_of(plan, done, label)
    planned = next((pull.specimen for pull in plan.pulls if pull.label == label), {})
    return [
        *([] if order is None else [order]),
        *(
            f"{key} is {specimen.get(key, 'not said')}, the list says {value}"
            for key, value in planned.items()
            if specimen.get(key) != value
        ),
    ]


class PlanFollower:
    """Keeps what is done and writes departures into the plan's folder. Told by one thread."""

    def __init__(self, plan: Plan, folder: Path, done: Collection[str], reason: str = "") -> None:
        self.plan = plan
        self._folder = folder
        self._done = set(done)
        self._reason = reason or AT_THE_RIG
        self.complaints: list[str] = []

    @property
    def expected_n(self) -> float | None:
        """The maximum (N) expected of every pull of the list; None where they differ."""
        expected = {pull.expected_n for pull in self.plan.pulls}
        return expected.pop() if len(expected) == 1 and all(map(math.isfinite, expected)) else None

    def pulled(self, specimen: Mapping[str, str | float]) -> None:
        """Take note of a pull that is on disk. What goes wrong is kept for later, in words."""
        now = datetime.now(UTC).astimezone()
        label = label_of(specimen)
        try:
            for what in departures(self.plan, self._done, specimen):
                record_departure(self._folder, label, what, self._reason, now)
        except Fault as fault:
            self.complaints.append(str(fault))
        self._done.add(label)
