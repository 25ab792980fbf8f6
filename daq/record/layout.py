"""Every name in the file in one place: groups, datasets, attributes, versions, limits.

The format is described for readers in docs/recording_format.md and, by example, in
recordings/README.md. Group classes and attributes follow the NeXus conventions, an open standard.
"""

from typing import Final

import numpy as np

FORMAT_NAME: Final = "pullstand-recording"
FORMAT_VERSION: Final = 1
SUFFIX: Final = ".h5"

# Groups and the standard classes they carry.
ENTRY: Final = "entry"
RAW: Final = "raw"
FORCE: Final = "force"
INSTRUMENT: Final = "instrument"
SAMPLE: Final = "sample"
EVENTS: Final = "events"
RESULT: Final = "result"
HISTORY: Final = "history"
CLASSES: Final = {
    RAW: "NXdata",
    FORCE: "NXdata",
    INSTRUMENT: "NXinstrument",
    SAMPLE: "NXsample",
    RESULT: "NXprocess",
    HISTORY: "NXcollection",
}

# Texts: JSON, the authority; the fields beside them are copies for general viewers.
HEADER: Final = "header"
JSON: Final = "json"
SHA256: Final = "sha256"

# Tables that grow.
COMMITS: Final = "commits"
RAW_FIELDS: Final = ("index", "board_us", "arrival_ns", "counts", "flags")
RAW_UNITS: Final = {
    "index": "",
    "board_us": "us",
    "arrival_ns": "ns",
    "counts": "counts",
    "flags": "",
}
FORCE_FIELDS: Final = ("time_s", "at_cells_n", "at_specimen_n")
FORCE_UNITS: Final = {"time_s": "s", "at_cells_n": "N", "at_specimen_n": "N"}

# Attributes of /entry.
STATE: Final = "state"
ENDED_BECAUSE: Final = "ended_because"
OPEN, FINISHED, ABORTED, RECOVERED = "open", "finished", "aborted", "recovered"
STATES: Final = (OPEN, FINISHED, ABORTED, RECOVERED)
EVENTS_NOT_KEPT: Final = "not_kept"

#: One line per commit: how many rows are good, and checksums (CRC-32) of what this commit added.
COMMIT_DTYPE: Final = np.dtype(
    [
        ("rows", "<u8"),
        ("events", "<u8"),
        ("host_ns", "<i8"),
        ("rows_crc32", "<u4"),
        ("events_crc32", "<u4"),
    ]
)
KIND_BYTES, TEXT_BYTES = 24, 200
EVENT_DTYPE: Final = np.dtype(
    [
        ("kind", f"S{KIND_BYTES}"),
        ("index", "<u8"),
        ("host_ns", "<i8"),
        ("value", "<f8"),
        ("text", f"S{TEXT_BYTES}"),
    ]
)

# Rows per chunk. 64 chunks fit one index node: an ordinary pull never splits a node.
ROWS_PER_CHUNK: Final = 1024
EVENTS_PER_CHUNK: Final = 64
COMMITS_PER_CHUNK: Final = 256

# Limits, so that a hostile or damaged file cannot ask for much.
MAX_CELLS: Final = 16
MAX_EVENTS: Final = 50_000
MAX_TEXT_BYTES: Final = 4 << 20
MAX_OBJECTS: Final = 20_000
MAX_DEPTH: Final = 6
