"""Pictures are bounded, upright, and carry nothing of what a camera wrote into them."""

import io
import struct

import numpy as np
import pytest
from matplotlib.image import imread, imsave

from analysis.report.photos import orientation, read_photos, scaled, upright
from daq.faults import InputFault


def jpeg(pixels: np.ndarray) -> bytes:
    out = io.BytesIO()
    imsave(out, np.ascontiguousarray(pixels), format="jpg")
    return out.getvalue()


def with_exif(data: bytes, turn: int, order: str = ">") -> bytes:
    """A JPEG with an Exif segment: orientation (JEITA CP-3451, tag 0x0112), and a secret."""
    mark = b"MM" if order == ">" else b"II"
    entry = struct.pack(f"{order}HHIHH", 0x0112, 3, 1, turn, 0)
    tiff = mark + struct.pack(f"{order}HIH", 42, 8, 1) + entry + struct.pack(f"{order}I", 0)
    body = b"Exif\0\0" + tiff + b"SECRET PLACE 52.1 N"
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


def picture(height=40, width=60) -> np.ndarray:
    """Red at the top left, blue elsewhere."""
    pixels = np.zeros((height, width, 3), dtype=np.uint8)
    pixels[:, :, 2] = 200
    pixels[: height // 2, : width // 2] = (220, 0, 0)
    return pixels


def test_a_large_picture_is_scaled_and_keeps_its_shape():
    small = scaled(np.full((3000, 4000, 3), 77, dtype=np.uint8))
    assert small.shape == (675, 900, 3)
    assert (small == 77).all()


def test_a_small_one_stays_as_it_is():
    pixels = picture()
    assert np.array_equal(scaled(pixels), pixels)


def test_a_new_pixel_is_the_mean_of_those_it_covers():
    pixels = np.zeros((2, 4, 3), dtype=np.uint8)
    pixels[:, ::2] = 100
    assert scaled(pixels, longest=2)[0, 0].tolist() == [50, 50, 50]


@pytest.mark.parametrize("order", "<>")
@pytest.mark.parametrize("turn", range(1, 9))
def test_every_orientation_puts_the_first_row_and_column_where_exif_says(turn, order):
    # Where row 0 and column 0 of the stored picture are shown: Exif 2.3 (JEITA CP-3451), 4.6.4 A.
    row, column = {
        1: ("top", "left"), 2: ("top", "right"), 3: ("bottom", "right"), 4: ("bottom", "left"),
        5: ("left", "top"), 6: ("right", "top"), 7: ("right", "bottom"), 8: ("left", "bottom"),
    }[turn]  # fmt: skip
    stored = np.zeros((4, 6, 3), dtype=np.uint8)
    stored[0, :, 0] = 255
    stored[:, 0, 1] = 255
    assert orientation(with_exif(jpeg(stored), turn, order)) == turn
    shown = upright(stored, turn)
    side = {"top": np.s_[0], "bottom": np.s_[-1], "left": np.s_[:, 0], "right": np.s_[:, -1]}
    assert (shown[side[row]][..., 0] == 255).all()
    assert (shown[side[column]][..., 1] == 255).all()


def test_photos_lose_their_tags_and_are_turned(tmp_path):
    (tmp_path / "A-01.jpg").write_bytes(with_exif(jpeg(picture()), turn=6))
    imsave(tmp_path / "b.png", picture(), format="png")
    (tmp_path / "notes.txt").write_text("no picture")
    turned, plain = read_photos(tmp_path)
    assert (turned.name, plain.name) == ("A-01", "b")
    assert (turned.width, turned.height) == (40, 60)
    assert b"SECRET" not in turned.jpeg
    assert b"Exif" not in turned.jpeg
    shown = imread(io.BytesIO(turned.jpeg), format="jpg").astype(int)
    assert shown[5, -5, 0] > 150 > shown[5, 5, 0]  # the red corner went to the top right


@pytest.mark.parametrize("content", [b"", b"\xff\xd8\xff\xe1", b"not a picture", b"\x89PNG\r\n"])
def test_a_broken_picture_is_named(tmp_path, content):
    (tmp_path / "bad.jpg").write_bytes(content)
    with pytest.raises(InputFault, match=r"bad\.jpg"):
        read_photos(tmp_path)


def test_a_folder_without_pictures_is_said(tmp_path):
    with pytest.raises(InputFault, match="holds no pictures"):
        read_photos(tmp_path)
    with pytest.raises(InputFault, match="is no folder"):
        read_photos(tmp_path / "none")


@pytest.mark.parametrize("data", [b"", b"\xff\xd8", b"\xff\xd8\xff\xe1\xff\xff", b"\x89PNG"])
def test_no_orientation_in_anything_else(data):
    assert orientation(data) == 1
