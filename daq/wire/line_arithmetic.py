"""Many text lines at once: digits to numbers eight at a time, with every line checked.

A line that is not plainly right comes back as doubtful; the caller judges it on its own. So the
outcome is that of judging each line singly, only sooner.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.samples import COUNTS_MAX, COUNTS_MIN
from daq.wire.checksums import crc16_of_slices
from daq.wire.line_layout import CHECKSUM_LENGTH, Layout
from daq.wire.rows import IntArray

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]
Mask = npt.NDArray[np.bool_]

_LF, _CR, _BLANK, _PLUS, _MINUS, _STAR = 10, 13, 32, 43, 45, 42
_PAD = b"0" * 16  # room for the eight-byte words of the first field
_WORD = 8
_LONGEST = 256
_CLOCK_DIGITS = 10
_CLOCK_MAX = (1 << 32) - 1
_ZEROS = np.uint64(0x3030303030303030)
_ABOVE_NINE = np.uint64(0x7676767676767676)
_TOP_BITS = np.uint64(0x8080808080808080)
_HEX = np.full(256, -1, dtype=np.int32)
for _value, _digit in enumerate(b"0123456789abcdef"):
    _HEX[_digit] = _value
    _HEX[ord(chr(_digit).upper())] = _value


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """A block of n lines: where each begins and ends (line end not counted), numbers, and doubt.

    ``numbers`` is (n, fields), meaningless where ``doubtful``.
    """

    begins: IntArray
    ends: IntArray
    numbers: IntArray
    doubtful: Mask


def read_lines(block: bytes, layout: Layout) -> Lines:
    """Read whole lines (``block`` ends in LF)."""
    text: Bytes = np.frombuffer(_PAD + block, dtype=np.uint8)
    marks = np.flatnonzero((text == layout.separator) | (text == _LF))
    line_end_at = np.flatnonzero(text[marks] == _LF)
    line_ends = marks[line_end_at]
    begins = np.empty_like(line_ends)
    begins[0] = len(_PAD)
    begins[1:] = line_ends[:-1] + 1
    complete = np.diff(line_end_at, prepend=-1) == layout.fields
    complete &= line_ends - begins <= _LONGEST
    if complete.all():
        field_ends = marks.reshape(-1, layout.fields)
    else:
        last = line_end_at[complete]
        field_ends = marks[last[:, None] + np.arange(1 - layout.fields, 1)]
    fine, numbers = _numbers(text, block, begins[complete], field_ends, layout)
    shift = len(_PAD)
    if complete.all():
        return Lines(begins - shift, line_ends - shift, numbers, ~fine)
    every = np.zeros((len(begins), layout.fields), dtype=np.int64)
    every[complete] = numbers
    doubtful = ~complete
    doubtful[complete] = ~fine
    return Lines(begins - shift, line_ends - shift, every, doubtful)


def _numbers(
    text: Bytes, block: bytes, begins: IntArray, marks: IntArray, layout: Layout
) -> tuple[Mask, IntArray]:
    """Return which lines are plainly right, and their numbers (n, fields)."""
    ends = marks.copy()
    ends[:, -1] -= text[ends[:, -1] - 1] == _CR
    starts = np.empty_like(ends)
    starts[:, 0] = begins
    starts[:, 1:] = marks[:, :-1] + 1
    fine = np.ones(len(ends), dtype=bool)
    if layout.checksum != "none":
        ends[:, -1] -= CHECKSUM_LENGTH[layout.checksum]
        fine = _checksum_agrees(text, begins, ends[:, -1], layout)
    if b" " in block and layout.separator != _BLANK:
        _step_over_blanks(text, starts, ends)
    negative = None
    if b"-" in block or b"+" in block:
        first = text[starts]
        negative = first == _MINUS
        starts += negative | (first == _PLUS)
    lengths = ends - starts
    numbers, digits_only = _eight_digits(_words(text), ends, np.minimum(lengths, _WORD))
    longest = np.full(layout.fields, _WORD)
    if layout.clock is not None:
        longest[layout.clock] = _CLOCK_DIGITS
        digits_only[:, layout.clock] &= _add_high_digits(text, numbers, ends, lengths, layout.clock)
    fine &= (digits_only & (lengths >= 1) & (lengths <= longest)).all(axis=1)
    if negative is not None:
        np.negative(numbers, out=numbers, where=negative)
    fine &= _in_range(numbers, layout)
    return fine, numbers


def _in_range(numbers: IntArray, layout: Layout) -> Mask:
    fine = np.ones(len(numbers), dtype=bool)
    for cell in layout.cells:
        fine &= (numbers[:, cell] >= COUNTS_MIN) & (numbers[:, cell] <= COUNTS_MAX)
    if layout.clock is not None:
        clock = numbers[:, layout.clock]
        fine &= (clock >= 0) & (clock <= _CLOCK_MAX)
    return fine


def _step_over_blanks(text: Bytes, starts: IntArray, ends: IntArray) -> None:
    """Move starts forward and ends back over a few blanks; more leave the line doubtful."""
    for _ in range(_WORD):
        ahead = (text[starts] == _BLANK) & (starts < ends)
        if not ahead.any():
            break
        starts += ahead
    for _ in range(_WORD):
        behind = (text[ends - 1] == _BLANK) & (starts < ends)
        if not behind.any():
            break
        ends -= behind


def _words(text: Bytes) -> Words:
    """Return the eight bytes from each place on, as one little-endian word (a view)."""
    return np.ndarray((len(text) - _WORD + 1,), dtype="<u8", buffer=text, strides=(1,))


def _eight_digits(words: Words, ends: IntArray, lengths: IntArray) -> tuple[IntArray, Mask]:
    """Return the numbers whose last ``lengths`` (at most 8) digits end at ``ends``, and validity.

    Digits of a word are checked and added up in parallel, pairs first.
    """
    # the word's low bytes stand before the field: shift them out and back as zeros
    before = (np.clip(_WORD - lengths, 0, _WORD - 1) * 8).astype(np.uint64)
    digits = ((words[ends - _WORD] ^ _ZEROS) >> before) << before
    fine: Mask = ((digits + _ABOVE_NINE) | digits) & _TOP_BITS == 0
    pairs = digits * np.uint64(10) + (digits >> np.uint64(8))
    low = np.uint64(0x000000FF000000FF)
    sums = (pairs & low) * np.uint64(0x000F424000000064)
    sums += ((pairs >> np.uint64(16)) & low) * np.uint64(0x0000271000000001)
    return (sums >> np.uint64(32)).astype(np.int64), fine


def _add_high_digits(
    text: Bytes, numbers: IntArray, ends: IntArray, lengths: IntArray, column: int
) -> Mask:
    """Add the ninth and tenth digit of a clock; return where they are digits."""
    high = np.clip(lengths[:, column] - _WORD, 0, 2)
    if not high.any():
        return np.ones(len(ends), dtype=bool)
    numbers_above, fine = _eight_digits(_words(text), ends[:, column] - _WORD, np.maximum(high, 1))
    numbers[:, column] += np.where(high > 0, numbers_above, 0) * 10**_WORD
    allowed: Mask = fine | (high == 0)
    return allowed


def _checksum_agrees(text: Bytes, begins: IntArray, stars: IntArray, layout: Layout) -> Mask:
    """Return where a star and the right hexadecimal digits follow the fields."""
    there = stars > begins
    stars = np.where(there, stars, begins)
    fine: Mask = there & (text[stars] == _STAR)
    told = np.zeros(len(stars), dtype=np.int32)
    for place in range(1, CHECKSUM_LENGTH[layout.checksum]):
        digit = _HEX[text[np.minimum(stars + place, len(text) - 1)]]
        fine &= digit >= 0
        told = told * 16 + digit
    if layout.checksum == "crc":
        fine &= crc16_of_slices(text, begins, stars) == told
    else:
        bounds = np.column_stack([begins, stars]).ravel()
        fine &= np.bitwise_xor.reduceat(text, bounds)[::2] == told
    return fine
