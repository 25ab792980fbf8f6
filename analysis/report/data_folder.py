"""The data folder: everything a reader needs in ten years, readable without this program."""

import hashlib
import shutil
from collections.abc import Sequence
from pathlib import Path

from analysis.report.photos import Photo
from analysis.report.story import Story
from analysis.report.tables import curve_csv, differences_csv, groups_csv, results_csv
from daq.faults import InputFault
from daq.record.reader import read_recording
from daq.run_header import program_version

README = """\
Data of a pull report
=====================

{title}, {when}. {pulls} pulls. Made by pullstand {version}.

report.html        the report: open it in any browser, nothing is fetched from elsewhere
results.csv        a row for each pull, invalid ones too ("counts" says no for them)
groups.csv         means, intervals and spread of each group
differences.csv    differences between groups with intervals and verdicts
curves/            force over time of each pull, with the raw counts of each cell
recordings/        the recordings themselves (HDF5), byte for byte
rig/               rig files and calibrations as kept in the recordings, plain text
photos/            pictures, scaled down, without the tags of the camera
checksums.txt      SHA-256 of every file here; check with: sha256sum -c checksums.txt

Columns carry their unit in their name: _n newtons, _mm millimetres, _s seconds, _n_per_mm newtons
for each millimetre, _n_per_mm2 newtons for each square millimetre. Forces are at the specimen. The
decimal sign is a point, the columns are parted by commas, the text is UTF-8. An empty cell is a
figure that could not be had. A text that a spreadsheet would run begins with an apostrophe.

The force of a pull is (counts - zero) through the calibration, times the ratio of the lever where
the weights lay at the cells. The last section of report.html gives the lines of Python for it.

Flags of a sample, added up: 1 saturated, 2 samples lost before it, 4 the board restarted before it,
8 lone spike, 16 not a believable number, 32 stuck, 64 beyond what the calibration verified.

No licence is stated here: whoever shares this folder says under which terms.
These are results of a home-built rig. They are no design values; local codes and licensed practice
come first.
"""


def write_folder(
    folder: Path,
    story: Story,
    page: str,
    photos: Sequence[Photo] = (),
) -> tuple[Path, ...]:
    """Write the data folder and return its files. Nothing is written over.

    Raises InputFault where something of that name is there or the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True)
        _write(folder, story, page, photos)
        files = tuple(sorted(file for file in folder.rglob("*") if file.is_file()))
        lines = (
            f"{hashlib.sha256(file.read_bytes()).hexdigest()}  "
            f"{file.relative_to(folder).as_posix()}\n"
            for file in files
        )
        _text(folder / "checksums.txt", "".join(lines))
    except FileExistsError:
        raise InputFault(f"{folder} is there already; the data go into a new folder.") from None
    except OSError as error:
        raise InputFault(f"{folder} cannot be written: {error.strerror}.") from None
    return (*files, folder / "checksums.txt")


def _write(folder: Path, story: Story, page: str, photos: Sequence[Photo]) -> None:
    answers = [(section.name, answer) for section in story.sections for answer in section.answers]
    pulls = story.evidence.pulls
    head = {"title": story.title, "when": story.when, "pulls": len(pulls)}
    _text(folder / "README.txt", README.format(**head, version=program_version()))
    _text(folder / "report.html", page)
    _text(folder / "results.csv", results_csv(pulls))
    _text(folder / "groups.csv", groups_csv(answers))
    _text(folder / "differences.csv", differences_csv(answers))
    _recordings(folder, story)
    _rig(folder / "rig", story)
    if photos:
        (folder / "photos").mkdir()
        for number, photo in enumerate(photos, start=1):
            (folder / "photos" / f"{number:03d}.jpg").write_bytes(photo.jpeg)


def _recordings(folder: Path, story: Story) -> None:
    """Copy each recording and write its curve, one in memory at a time."""
    (folder / "recordings").mkdir()
    (folder / "curves").mkdir()
    taken: set[str] = set()
    for shown in story.evidence.pulls:
        file = shown.result.file
        if file.name in taken:
            raise InputFault(
                f"Two recordings are called {file.name}: name one folder at a time, or rename one."
            )
        taken.add(file.name)
        shutil.copyfile(file, folder / "recordings" / file.name)
        _text(folder / "curves" / f"{file.stem}.csv", curve_csv(read_recording(file)))


def _rig(folder: Path, story: Story) -> None:
    folder.mkdir()
    for number, text in enumerate(story.evidence.rigs, start=1):
        _text(folder / f"rig-{number}.toml", text)
    for fingerprint, calibration in story.evidence.calibrations.items():
        _text(folder / f"calibration-{fingerprint}.json", calibration.to_json())


def _text(file: Path, text: str) -> None:
    with file.open("x", encoding="utf-8", newline="\n") as stream:
        stream.write(text)
