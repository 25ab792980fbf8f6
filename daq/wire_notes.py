"""What came over the wire beside samples, as a pull's file keeps it."""

from dataclasses import replace

from daq.record.events import Event, EventKind
from daq.wire.decoded import WireEvent


def together(events: tuple[WireEvent, ...]) -> list[WireEvent]:
    """Return events with bad lines of one kind in a row as one: a flood of them is one note."""
    kept: list[WireEvent] = []
    for event in events:
        before = kept[-1] if kept else None
        if (
            before is not None
            and event.is_bad_line
            and (event.kind, event.index) == (before.kind, before.index)
        ):
            kept[-1] = replace(before, count=before.count + event.count)
        else:
            kept.append(event)
    return kept


def wire_note(event: WireEvent) -> Event:
    """Return a wire event as it is kept in the file."""
    kind = EventKind.BAD_LINE if event.is_bad_line else EventKind(event.kind)
    text = f"{event.kind}: {event.text}" if event.is_bad_line else event.text
    return Event(kind, event.index, event.arrival_ns, text, float(event.count))
