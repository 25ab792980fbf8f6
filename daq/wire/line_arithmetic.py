"""Many text lines at once: digits to numbers eight at a time, with every line checked.

A line that is not plainly right comes back as doubtful; the caller judges it on its own. So the
outcome is that of judging each line singly, only sooner.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from daq.samples import COUNTS_MAX, COUNTS_MIN
from daq.wire.checksums import crc16_of_slices
from daq.wire.line_layout import CHECKSUM_LENGTH, CLOCK_MAX, LONGEST_LINE, Layout
from daq.wire.rows import IntArray

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]
Mask = npt.NDArray[np.bool_]

_LF, _CR, _BLANK, _PLUS, _MINUS, _STAR = 10, 13, 32, 43, 45, 42
_PAD = b"0" * 16  # room for the eight-byte words of the first field
_WORD = 8
_CLOCK_DIGITS = 10
_ANY = 10**10
_NO_NUMBERS = np.empty((0, 0), dtype=np.int64)
_ZEROS = np.uint64(0x3030303030303030)
_ABOVE_NINE = np.uint64(0x7676767676767676)
_TOP_BITS = np.uint64(0x8080808080808080)
_LOW = np.uint64(0x000000FF000000FF)
_BITS_BEFORE = np.array([56, 56, 48, 40, 32, 24, 16, 8, 0], dtype=np.uint64)  # by length
_HEX = np.full(256, -1, dtype=np.int32)
for _value, _digit in enumerate(b"0123456789abcdef"):
    _HEX[_digit] = _value
    _HEX[ord(chr(_digit).upper())] = _value


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """A block of n lines: where each begins and ends (line end not counted), numbers, and doubt.

    ``numbers`` is (n, fields), meaningless where ``doubtful`` (n,), which is None if no line is.
    """

    begins: IntArray
    ends: IntArray
    numbers: IntArray
    doubtful: Mask | None


class LineReader:
    """Reads blocks of lines of one layout."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._longest = np.full(layout.fields, _WORD, dtype=np.uint64)
        self._low = np.full(layout.fields, -_ANY)
        self._high = np.full(layout.fields, _ANY)
        self._low[list(layout.cells)] = COUNTS_MIN
        self._high[list(layout.cells)] = COUNTS_MAX
        if layout.clock is not None:
            self._longest[layout.clock] = _CLOCK_DIGITS
            self._low[layout.clock], self._high[layout.clock] = 0, CLOCK_MAX

    def read(self, block: bytes) -> Lines:
        """Read whole lines (``block`` ends in LF and is not empty)."""
        fields = self._layout.fields
        text: Bytes = np.frombuffer(_PAD + block, dtype=np.uint8)
        marks = np.flatnonzero((text == self._layout.separator) | (text == _LF))
        line_end_at = np.flatnonzero(text.take(marks) == _LF)
        ends = marks.take(line_end_at)
        begins = np.empty_like(ends)
        begins[0] = len(_PAD)
        np.add(ends[:-1], 1, out=begins[1:])
        lines = Lines(begins - len(_PAD), ends - len(_PAD), _NO_NUMBERS, None)
        complete = _complete(line_end_at, fields) & (ends - begins <= LONGEST_LINE)
        if complete.all():
            fine, numbers = self._numbers(text, block, begins, marks.reshape(-1, fields))
            doubtful = None if fine.all() else np.logical_not(fine)
            return replace(lines, numbers=numbers, doubtful=doubtful)
        field_ends = marks[line_end_at[complete][:, None] + np.arange(1 - fields, 1)]
        fine, read = self._numbers(text, block, begins[complete], field_ends)
        numbers = np.zeros((len(begins), fields), dtype=np.int64)
        numbers[complete] = read
        complete[complete] = fine
        return replace(lines, numbers=numbers, doubtful=~complete)

    def _numbers(
        self, text: Bytes, block: bytes, begins: IntArray, marks: IntArray
    ) -> tuple[Mask, IntArray]:
        """Return which lines are plainly right, and their numbers (n, fields)."""
        layout = self._layout
        starts, ends = np.empty_like(marks), marks
        starts[:, 0] = begins
        np.add(marks[:, :-1], 1, out=starts[:, 1:])
        agrees: Mask | None = None
        if b"\r" in block or layout.checksum != "none":
            ends = marks.copy()
            ends[:, -1] -= text.take(ends[:, -1] - 1) == _CR
        if layout.checksum != "none":
            ends[:, -1] -= CHECKSUM_LENGTH[layout.checksum]
            agrees = _checksum_agrees(text, begins, ends[:, -1], layout)
        if b" " in block and layout.separator != _BLANK:
            ends = _without_blanks(text, starts, ends)
        negative: Mask | None = None
        if b"-" in block or b"+" in block:
            first = text.take(starts)
            negative = first == _MINUS
            starts += negative | (first == _PLUS)
        lengths = ends - starts
        numbers, fine = _eight_digits(_words(text), ends, lengths)
        if layout.clock is not None:
            _add_high_digits(text, numbers, fine, ends, lengths, layout.clock)
        if negative is not None:
            np.negative(numbers, out=numbers, where=negative)
        fine &= (lengths - 1).view(np.uint64) < self._longest  # at least one digit, too
        fine &= numbers >= self._low
        fine &= numbers <= self._high
        right: Mask = np.logical_and.reduce(fine, axis=1)
        if agrees is not None:
            np.logical_and(right, agrees, out=right)
        return right, numbers


def _complete(line_end_at: IntArray, fields: int) -> Mask:
    """Return which lines have so many fields; ``line_end_at`` counts marks."""
    count = np.empty_like(line_end_at)
    count[0] = line_end_at[0] + 1
    np.subtract(line_end_at[1:], line_end_at[:-1], out=count[1:])
    complete: Mask = count == fields
    return complete


def _without_blanks(text: Bytes, starts: IntArray, ends: IntArray) -> IntArray:
    """Move starts (in place) and ends over a few blanks; more leave the line doubtful."""
    ends = ends.copy()
    for _ in range(_WORD):
        ahead = (text.take(starts) == _BLANK) & (starts < ends)
        if not ahead.any():
            break
        starts += ahead
    for _ in range(_WORD):
        behind = (text.take(ends - 1) == _BLANK) & (starts < ends)
        if not behind.any():
            break
        ends -= behind
    return ends


def _words(text: Bytes) -> Words:
    """Return the eight bytes from each place on, as one little-endian word (a view)."""
    return np.ndarray((len(text) - _WORD + 1,), dtype="<u8", buffer=text, strides=(1,))


def _eight_digits(words: Words, ends: IntArray, lengths: IntArray) -> tuple[IntArray, Mask]:
    """Return the numbers whose last ``lengths`` (at most 8) digits end at ``ends``, and validity.

    Digits of a word are checked and added up in parallel, pairs first.
    """
    digits = words[ends - _WORD]
    digits ^= _ZEROS
    # the word's low bytes stand before the field: shift them out, and zeros in
    before = _BITS_BEFORE.take(lengths, mode="clip")
    digits >>= before
    digits <<= before
    fine: Mask = ((digits + _ABOVE_NINE) | digits) & _TOP_BITS == 0
    pairs = digits * np.uint64(10)
    pairs += digits >> np.uint64(8)
    sums = (pairs & _LOW) * np.uint64(0x000F424000000064)
    pairs >>= np.uint64(16)
    pairs &= _LOW
    pairs *= np.uint64(0x0000271000000001)
    sums += pairs
    sums >>= np.uint64(32)
    return sums.view(np.int64), fine


def _add_high_digits(
    text: Bytes, numbers: IntArray, fine: Mask, ends: IntArray, lengths: IntArray, column: int
) -> None:
    """Add the ninth and tenth digit of a clock, where it has them."""
    high = lengths[:, column] - _WORD
    if not (high > 0).any():
        return
    above, digits = _eight_digits(_words(text), ends[:, column] - _WORD, np.maximum(high, 1))
    short = high <= 0
    above[short] = 0
    numbers[:, column] += above * 10**_WORD
    fine[:, column] &= digits | short


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
