"""The page on the rig file names every key that the reader knows, and no other."""

import re
from pathlib import Path

from daq.rig import rig_keys

PAGE = Path(__file__).parents[4] / "docs" / "rig_file.md"
SECTIONS = {
    "[rig]": rig_keys.RIG,
    "[link]": rig_keys.LINK,
    "[[cell]]": rig_keys.CELL,
    "[lever]": rig_keys.LEVER,
    "[beam]": {**rig_keys.BEAM, **rig_keys.SCREWS},
    "[[part]]": rig_keys.PART,
    "[[pin]]": rig_keys.PIN,
    "[stop]": rig_keys.STOP,
    "[jack]": rig_keys.JACK,
}


def sections_of_the_page():
    parts = re.split(r"^## (\[+\w+\]+).*$", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def keys_named(text):
    rows = [line for line in text.split("\n") if line.startswith("| `")]
    screws = [
        line for line in text.split("\n") if "length_each_side" in line or "[beam.screws]" in line
    ]
    cells = [row.split("|")[1] for row in rows]
    return set(re.findall(r"`(\w+)`", " ".join(cells + screws)))


def test_every_key_is_on_the_page_and_no_other():
    page = sections_of_the_page()
    assert set(page) == set(SECTIONS)
    for section, keys in SECTIONS.items():
        assert keys_named(page[section]) == set(keys), section
