"""Photos for the page: turned upright, scaled down, without the tags a camera leaves in them."""

import base64
import io
import struct
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from daq.faults import InputFault
from daq.record.inert_text import error_words, inert

SUFFIXES = (".jpg", ".jpeg", ".png")
LONGEST_SIDE = 900
QUALITY = 80
MOST_BYTES = 60_000_000
MOST_PHOTOS = 400
_ORIENTATION = 0x0112
Image = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture ready for the page: JPEG bytes, its size in pixels, and its file's name."""

    name: str
    jpeg: bytes
    width: int
    height: int

    @property
    def uri(self) -> str:
        """The picture as a data address."""
        return f"data:image/jpeg;base64,{base64.b64encode(self.jpeg).decode('ascii')}"


def read_photos(folder: Path) -> tuple[Photo, ...]:
    """Return the photos of a folder, in the order of their names.

    Raises InputFault: no folder, no photo in it, too many, or one that cannot be read.
    """
    if not folder.is_dir():
        raise InputFault(f"--photos {folder}: is no folder. Name one with pictures (JPEG or PNG).")
    files = [file for file in sorted(folder.iterdir()) if file.suffix.casefold() in SUFFIXES]
    if not files:
        raise InputFault(f"--photos {folder}: holds no pictures (JPEG or PNG).")
    if len(files) > MOST_PHOTOS:
        raise InputFault(
            f"--photos {folder}: holds {len(files)} pictures; a page carries {MOST_PHOTOS} at most."
        )
    return tuple(map(_photo, files))


def _photo(file: Path) -> Photo:
    try:
        if file.stat().st_size > MOST_BYTES:
            raise InputFault(f"{file}: is larger than {MOST_BYTES // 1_000_000} MB.")
        data = file.read_bytes()
        image = _decoded(data, file.suffix)
    except InputFault:
        raise
    except (OSError, ValueError, SyntaxError, Warning, MemoryError) as error:
        words = error_words(error)
        raise InputFault(f"{file}: cannot be read as a picture ({words}). Leave it out.") from None
    small = scaled(upright(image, orientation(data)))
    return Photo(inert(file.stem, 120), _jpeg(small), small.shape[1], small.shape[0])


def _decoded(data: bytes, suffix: str) -> Image:
    """Return the pixels (height, width, 3)."""
    from matplotlib.image import imread

    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a picture that unpacks to far too much
        pixels = imread(io.BytesIO(data), format=suffix.lstrip(".").casefold())
    if pixels.dtype != np.uint8:
        pixels = np.round(pixels * 255.0).astype(np.uint8)
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[:, :, None], 3, axis=2)
    return _on_white(pixels)


def _on_white(pixels: Image) -> Image:
    if pixels.shape[2] == 3:
        return pixels
    if pixels.shape[2] != 4:
        return np.repeat(pixels[:, :, :1], 3, axis=2)
    alpha = pixels[:, :, 3:].astype(np.float32) / 255.0
    mixed: Image = np.round(pixels[:, :, :3] * alpha + 255.0 * (1.0 - alpha)).astype(np.uint8)
    return mixed


def scaled(image: Image, longest: int = LONGEST_SIDE) -> Image:
    """Return the image, no side over ``longest``; a new pixel is the mean of those it covers."""
    shrink = min(1.0, longest / max(image.shape[:2]))
    for axis, length in enumerate(image.shape[:2]):
        new = max(1, round(length * shrink))
        starts = np.linspace(0, length, new, endpoint=False).astype(np.intp)
        counts = np.diff(np.append(starts, length))
        sums = np.add.reduceat(image, starts, axis=axis, dtype=np.uint32)
        shape = [1, 1, 1]
        shape[axis] = new
        image = (sums / counts.reshape(shape)).round().astype(np.uint8)
    return image


def upright(image: Image, turn: int) -> Image:
    """Return the image as its camera's orientation tag (1 to 8, Exif 2.3, 4.6.4) means it."""
    if turn in (5, 6, 7, 8):
        image = image.transpose(1, 0, 2)
    if turn in (3, 4, 7, 8):
        image = image[::-1]
    if turn in (2, 3, 6, 7):
        image = image[:, ::-1]
    return image


def orientation(data: bytes) -> int:
    """Return the orientation tag of a JPEG file, 1 where it has none."""
    for marker, segment in _segments(data):
        if marker == 0xE1 and segment.startswith(b"Exif\0\0"):
            try:
                return _tag(segment[6:])
            except struct.error:
                return 1
    return 1


def _segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield (marker, content) of a JPEG's header segments."""
    at = 2
    while data[:2] == b"\xff\xd8" and at + 4 <= len(data) and data[at] == 0xFF:
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if marker == 0xDA or length < 2:
            return
        yield marker, data[at + 4 : at + 2 + length]
        at += 2 + length


def _tag(tiff: bytes) -> int:
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return 1
    (start,) = struct.unpack_from(f"{order}I", tiff, 4)
    (count,) = struct.unpack_from(f"{order}H", tiff, start)
    for entry in range(min(count, 200)):
        tag, _, _, value = struct.unpack_from(f"{order}HHIH", tiff, start + 2 + 12 * entry)
        if tag == _ORIENTATION:
            return value if 1 <= value <= 8 else 1
    return 1


def _jpeg(image: Image) -> bytes:
    from matplotlib.image import imsave

    out = io.BytesIO()
    imsave(out, np.ascontiguousarray(image), format="jpg", pil_kwargs={"quality": QUALITY})
    return out.getvalue()
