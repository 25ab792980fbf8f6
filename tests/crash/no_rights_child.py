"""A child that gives up the rights of root, if it has them, and tries to record and to read.

no_rights_child.py FOLDER RECORDING     says on stdout what came of each, a line each.

Everything is imported before: afterwards the interpreter itself may be out of reach.
"""

import os
import sys
from pathlib import Path

import h5py  # noqa: F401

from daq.faults import Fault
from daq.record.reader import read_recording
from daq.record.recorder import Recorder

NOBODY = 65_534


def main() -> None:
    folder, recording = Path(sys.argv[1]), Path(sys.argv[2])
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    for attempt in (lambda: Recorder(folder), lambda: read_recording(recording)):
        try:
            attempt()
            told = "done"
        except Fault as fault:
            told = str(fault)
        sys.stdout.write(f"{told}\n")


if __name__ == "__main__":
    main()
