"""A child that records into a folder with little room until it cannot; says what happened.

full_disk_child.py FOLDER LIMIT      LIMIT: largest file (0: a small folder)
"""

import signal
import sys
from pathlib import Path

from record_writer_child import HEADER, block

from daq.faults import RecordingFault
from daq.record import header as headers
from daq.record import pull_file
from daq.record.events import Event, EventKind
from daq.record.pull_file import PullFile


def main() -> None:
    folder, limit = Path(sys.argv[1]), int(sys.argv[2])
    if limit:
        import resource

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    pull_file.FLOOR_BYTES = 0  # as if another program took the room in between
    header = headers.from_json(HEADER.read_text(encoding="utf-8"))
    pull = PullFile.create(folder, header, 2)
    given = 0
    try:
        while given < 10_000_000:
            pull.append(block(given, 23))
            given += 23
            pull.event(Event(EventKind.MARK, given, given, "block"))
            pull.commit(sync=given % 230 == 0)
    except RecordingFault as fault:
        sys.stdout.write(f"{pull.rows} {fault}\n")
    pull.abort("no room")
    # and then the ordinary end of an interpreter, which is where the library used to crash


if __name__ == "__main__":
    main()
