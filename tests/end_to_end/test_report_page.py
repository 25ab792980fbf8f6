"""The demo campaign as a report: one page, whole, ordered, the same again; tables and a folder."""

import csv
import hashlib
import io
import json
import re
import shutil
import subprocess
import sys
from base64 import b64decode
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread, imsave

from tui.cli import main

DEMO = Path(__file__).parents[2] / "recordings" / "demo"
VOID = {"meta", "br", "img", "link", "hr", "input"}


class Page(HTMLParser):
    """Elements, headings, text and what would be fetched."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.headings: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag in ("h1", "h2", "h3"):
            self.headings.append((tag, ""))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes something else"

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.text.append(data)
        if set(self.open) & {"h1", "h2", "h3"}:
            tag, words = self.headings[-1]
            self.headings[-1] = (tag, words + data)

    @property
    def words(self) -> str:
        return " ".join("".join(self.text).replace("\u00a0", " ").replace("\u202f", " ").split())


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The report of the whole campaign with photos, CSV and folder, and its JSON."""
    here = tmp_path_factory.mktemp("report")
    (here / "photos").mkdir()
    imsave(here / "photos" / "A-01.png", np.full((30, 50, 3), 120, dtype=np.uint8), format="png")
    out = subprocess.run(
        [
            *(sys.executable, "-m", "tui", "report", str(DEMO), "-o", str(here / "report.html")),
            *("--csv", str(here / "results.csv"), "--folder", str(here / "data")),
            *("--photos", str(here / "photos"), "--json"),
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=DEMO.parents[1],
    )
    assert out.returncode == 0, out.stderr
    text = (here / "report.html").read_text("utf-8")
    return here, text, Page(text), json.loads(out.stdout)


def test_nothing_is_fetched_from_anywhere(made):
    _, text, page, _ = made
    for tag, attrs in page.elements:
        assert tag not in {"script", "link", "iframe", "object", "embed", "base", "form"}
        for name in ("src", "href", "xlink:href", "action", "data", "poster", "srcset"):
            value = attrs.get(name, "#")
            assert value.startswith("#") or (tag == "img" and value.startswith("data:image/jpeg"))
        assert not any(name.startswith("on") for name in attrs)
    assert "@import" not in text
    assert not re.search(r"url\((?!#)", text)
    assert "default-src 'none'" in text


def test_sections_stand_in_the_order_of_reading(made):
    page = made[2]
    second = [words for tag, words in page.headings if tag == "h2"]
    assert second == [
        "Answers",
        *("inserts", "coach-screws", "pull-through"),
        *("How the force is known", "The rig and its limits", "Photos"),
        *("Before anyone relies on this", "How to work it out again"),
    ]
    own = [words for tag, words in page.headings]
    inserts = own[own.index("inserts", own.index("Answers") + 2) :]
    order = ["The plan", "Pilot", "Coating", "Every curve", "Every pull"]
    assert [words for words in inserts if words in order][:5] == order


def test_every_element_is_closed_and_every_id_is_one(made):
    page = made[2]
    assert page.open == []
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.elements:
        for name in attrs.get("aria-labelledby", "").split():
            assert name in ids


def test_pictures_have_words(made):
    page = made[2]
    drawings = [
        attrs for tag, attrs in page.elements if tag == "svg" and "aria-hidden" not in attrs
    ]
    assert len(drawings) >= 48 + 8
    assert all(attrs.get("role") == "img" and "aria-labelledby" in attrs for attrs in drawings)
    (photo,) = [attrs for tag, attrs in page.elements if tag == "img"]
    assert photo["alt"] == "Photo of A-01"
    pixels = imread(io.BytesIO(b64decode(photo["src"].split(",", 1)[1])), format="jpg")
    assert pixels.shape == (int(photo["height"]), int(photo["width"]), 3) == (30, 50, 3)
    assert abs(pixels.astype(int) - 120).max() < 3
    assert "Force over time of ash-D: at least, maximum at least 6.20 kN" in page.words


def test_the_campaign_tells_its_story(made):
    words = made[2].words
    for told in (
        "Does the pilot hole size matter, and does candle wax on the thread matter?",
        "Does the pilot matter? Yes, but not between all levels.",
        "9 mm against 8.5 mm: matters. −1.38 kN, −31 %",
        "8.5 mm against 8 mm: cannot tell.",
        "Does the coating matter? No: any difference lies within 10 %.",
        "C-02: grip slipped: jaw mark on the bolt",
        "ash-D: at least 6.20 kN",
        "chosen because the pulls differ in it; no --by was given",
        "Ossel Brook rig B, build 4",
        "average ultimate",
        "the locally adopted code and licensed practice",
    ):
        assert told in words


def test_every_number_of_the_json_is_on_the_page(made):
    _, _, page, document = made
    for section in document["sections"]:
        for pull in section["pulls"]:
            assert f"{pull['max_force_n'] / 1000:.2f}" in page.words
            assert f"± {pull['U95_max_force_n'] / 1000:.2f}" in page.words
            assert pull["sha256"] in page.words
            assert pull["specimen"]["label"] in page.words
            for flag in pull["flags"]:
                assert flag in page.words
        for found in section["comparisons"]:
            for group in found["groups"]:
                mean = group["mean_n"] or group["at_least_n"]
                assert f"{mean / 1000:.2f}" in page.words
            for pair in found["pairs"]:
                sign = "−" if pair["difference_n"] < 0 else "+"
                assert f"{sign}{abs(pair['difference_n']) / 1000:.2f} kN" in page.words
                if pair["needed"]:
                    assert f"About {pair['needed']} pulls in each group" in page.words
            assert found["headline"] in page.words


def test_the_same_recordings_give_the_same_bytes(made, tmp_path, capsys):
    here, text, _, _ = made
    assert (here / "data" / "report.html").read_text("utf-8") == text
    arguments = ["report", str(DEMO), "-o", str(tmp_path / "again.html")]
    assert main([*arguments, "--photos", str(here / "photos")]) == 0
    assert (tmp_path / "again.html").read_text("utf-8") == text
    assert "written: " in capsys.readouterr().err


def test_results_come_back_from_the_table(made):
    here, _, _, document = made
    with (here / "results.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["file"]: row for row in csv.DictReader(file)}
    pulls = [pull for section in document["sections"] for pull in section["pulls"]]
    assert len(rows) == len(pulls) == 48
    for pull in pulls:
        row = rows[Path(pull["file"]).name]
        assert float(row["max_force_n"]) == pytest.approx(pull["max_force_n"], rel=1e-9)
        assert row["kind"] == pull["kind"]
        assert row["flags"] == "; ".join(pull["flags"])
        assert row["specimen board"] == pull["specimen"]["board"]
        assert row["counts"] == ("no" if pull["kind"] == "invalid" else "yes")
        if pull["yield_force_n"] is None:
            assert row["yield_force_n"] == ""


def test_the_folder_opens_without_the_program(made):
    here, _, _, document = made
    folder = here / "data"
    lines = (folder / "checksums.txt").read_text("utf-8").splitlines()
    listed = dict(reversed(line.split("  ", 1)) for line in lines)
    for name, digest in listed.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    files = {file.relative_to(folder).as_posix() for file in folder.rglob("*") if file.is_file()}
    assert set(listed) == files - {"checksums.txt"}
    for section in document["sections"]:
        for pull in section["pulls"]:
            original = Path(pull["file"])
            copy = folder / "recordings" / original.name
            assert hashlib.sha256(copy.read_bytes()).hexdigest() == pull["sha256"]
            curve = (folder / "curves" / f"{original.stem}.csv").read_text("utf-8")
            rows = list(csv.DictReader(io.StringIO(curve)))
            assert len(rows) == pull["samples"]
            highest = max(float(row["force_at_specimen_n"]) for row in rows)
            assert highest == pytest.approx(pull["max_force_n"], abs=1e-3)


def worked_out(text: str, folder: Path) -> float:
    """What the page's own lines give, run as they stand, without this program."""
    recipe = re.search(r"<pre>(.*?)</pre>", text, re.DOTALL)
    assert recipe is not None
    out = subprocess.run(
        [sys.executable, "-I", "-c", unescape(recipe.group(1))],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
    )
    return float(out.stdout.split()[0])


def test_the_lines_on_the_page_work_the_force_out_again(made):
    here, text, _, document = made
    first = document["sections"][0]["pulls"][0]
    found = worked_out(text, here / "data" / "recordings")
    assert found == pytest.approx(first["max_force_n"], rel=1e-9)


def test_page_and_recipe_follow_a_correction(tmp_path):
    campaign = tmp_path / "campaign"
    campaign.mkdir()
    for name in ("*-A-01.h5", "*-ash-D.h5"):
        shutil.copy(next(iter(DEMO.glob(name))), campaign)
    assert main(["amend", str(campaign), "--masses", "x1.036", "--reason", "plates weighed"]) == 0
    assert main(["report", str(campaign), "-o", str(tmp_path / "r.html")]) == 0
    text = (tmp_path / "r.html").read_text("utf-8")
    words = Page(text).words
    assert "Corrected since" in words
    assert "Reason: plates weighed." in words
    # 5.32 kN x 1.036, a "5 kg" plate of 5.18 kg
    assert "A-01 was 5.32 kN, is 5.51 kN" in words
    # 6.20 kN x 1.036 = 6.42 kN, against 0.95 x 6.54 kN of the cells
    assert "The stop was 6.20 kN as set, truly 6.42 kN by the correction since" in words
    assert "allows 6.21 kN (0.95 of the weakest part), so it was ABOVE it." in words
    assert worked_out(text, campaign) == pytest.approx(5318.55 * 1.036, rel=1e-4)


def test_nothing_is_written_over(made, tmp_path, capsys):
    here = made[0]
    for option, name in (("-o", "report.html"), ("--csv", "results.csv"), ("--folder", "data")):
        before = (here / "report.html").read_bytes()
        assert main(["report", str(DEMO), option, str(here / name)]) == 2
        assert "is there already" in capsys.readouterr().err
        assert (here / "report.html").read_bytes() == before


def test_what_cannot_be_read_is_told_and_the_rest_reported(tmp_path, capsys):
    for file in sorted(DEMO.glob("*-B-0[12].h5")):
        shutil.copy(file, tmp_path)
    (tmp_path / "cut.h5").write_bytes(next(iter(sorted(DEMO.glob("*.h5")))).read_bytes()[:4000])
    assert main(["report", str(tmp_path), "-o", str(tmp_path / "r.html")]) == 5
    assert "cut.h5" in capsys.readouterr().err
    words = Page((tmp_path / "r.html").read_text("utf-8")).words
    assert "Recordings that could not be read" in words
    assert "cut.h5" in words
    assert "B-01" in words


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ([], "Say where the report goes"),
        (["-o", "x/r.html"], "is not there. Make it first"),
        (["-o", "r.html", "--by", "pilto_mm"], 'The nearest key there is: "pilot_mm"'),
        (["-o", "r.html", "--where", "series=none"], "No recording matches series=none"),
        (["-o", "r.html", "--photos", "none"], "is no folder"),
        (["-o", "r.html", "--bound", "much"], "--bound"),
    ],
)
def test_a_wrong_wish_is_one_sentence(options, told, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["report", str(next(iter(sorted(DEMO.glob("*.h5"))))), *options]) == 2
    assert told in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
