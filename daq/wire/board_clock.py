"""The board's clock, line by line: wraps, restarts, repeats, strays and gaps. A fold over blocks.

Rules and words are those of docs/wire_protocol.md. Rows come from a decoder in line order, together
with the oddities (bad lines, messages) between them; samples and events go out. A row whose clock
falls or leaps is held until the next row tells a garbled digit from a true step.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from daq.samples import COUNTS_MAX, COUNTS_MIN, Flag, sample_dtype
from daq.wire.decoded import Decoded
from daq.wire.rows import IntArray, Judgement, Oddity, Rows
from daq.wire.silence import Silence

_SATURATED = np.uint16(Flag.SATURATED)
_GAP = np.uint16(Flag.GAP)
_RESTART = np.uint16(Flag.RESTART | Flag.GAP)  # what came before it is lost as well
_WRAP = 1 << 32
_MASK = _WRAP - 1
_HALF = _WRAP >> 1
_MINUTE_US = 60_000_000
_YOUNG_US = 2_000_000  # a clock below this may have just started
_MEDIAN_OF = 15  # the usual step is the median of the last full group of so many
_ENOUGH = 3  # steps seen before there is a usual step at all
_PATIENCE = 32  # oddities after a held row, before it is given up
_WINDOW = 512  # rows looked at together
_CALM = 8  # rows looked at singly after an odd one, before arrays are tried again
_FEW = 16  # rows below which plain Python beats arrays
_SEQUENCE_MASK = 0xFFFF


@dataclass(slots=True)
class _Course:
    """Where the clock stands after the last good row."""

    last: int = 0  # ticks
    sequence: int = 0
    board_us: int = 0
    arrival_ns: int = 0
    started: bool = False
    usual: int = 0  # ticks; 0: not known yet
    settled: bool = False  # a full group of steps has been seen


class BoardClock:
    """The fold: ``take`` rows and oddities, give samples and events.

    ``tick_us`` is the unit of the clock in microseconds, or 0 where the line carries none.
    """

    def __init__(self, cells: int, tick_us: int) -> None:
        self._dtype = sample_dtype(cells)
        self._tick_us = tick_us
        self._course = _Course()
        self._group: list[int] = []
        self._index = 0
        self._bad = 0  # bad lines since the last good row
        self._held: tuple[Rows, list[Oddity]] | None = None
        self._silence = Silence()
        self._minute = _MINUTE_US // tick_us if tick_us else 0
        self._young = _YOUNG_US // tick_us if tick_us else 0

    def take(self, rows: Rows, odd: Sequence[Oddity], *, final: bool = False) -> Decoded:
        """Judge a block. ``final``: nothing follows, so a held row is decided by itself."""
        if not len(rows) and not odd and not final:
            return Decoded(np.empty(0, dtype=self._dtype), ())
        if self._held is not None:
            before, waiting = self._held
            self._held = None
            rows = before.then(rows)
            odd = [*waiting, *(each._replace(position=each.position + 1) for each in odd)]
        if not odd and (usual := self._usual_block(rows)) is not None:
            return usual
        judged = Judgement(rows, odd, self._bad)
        if self._tick_us:
            odd = self._judge(judged, odd, final)
        else:
            self._accept_without_clock(judged)
        return self._hand_on(judged, odd)

    def _hand_on(self, judged: Judgement, odd: Sequence[Oddity]) -> Decoded:
        """Build samples and events of what was decided."""
        rows, good = judged.rows, judged.good
        events = judged.events(odd, self._index)
        if good.all():
            samples = self._samples(rows, judged.board_us, judged.flags)
        else:
            samples = self._samples(rows.only(good), judged.board_us[good], judged.flags[good])
        return Decoded(samples, events)

    def _samples(
        self, rows: Rows, board_us: IntArray, flags: npt.NDArray[np.uint16] | int
    ) -> np.ndarray:
        """Return good rows as samples."""
        samples = np.empty(len(rows), dtype=self._dtype)
        samples["index"] = np.arange(self._index, self._index + len(rows))
        samples["board_us"] = board_us
        samples["arrival_ns"] = rows.arrival_ns
        samples["counts"] = rows.counts
        samples["flags"] = flags
        self._index += len(rows)
        if len(rows) and (rows.counts.max() == COUNTS_MAX or rows.counts.min() == COUNTS_MIN):
            at_end = (rows.counts == COUNTS_MIN) | (rows.counts == COUNTS_MAX)
            samples["flags"][at_end.any(axis=1)] |= _SATURATED
        return samples

    # -- a line with a clock ------------------------------------------------------------------

    def _judge(self, judged: Judgement, odd: Sequence[Oddity], final: bool) -> Sequence[Oddity]:
        """Decide every row but a last one in doubt, which is put aside with what followed it."""
        held = self._walk(judged)
        count = len(judged.rows)
        if held is not None and (final or judged.odd_between(held, count) > _PATIENCE):
            if final and self._believable_alone(judged, held):
                self._accept_step(judged, held)
            else:
                judged.reject(held, "jump back")
            held = None
        if held is None:
            self._bad = judged.bad_before(count)
            return odd
        repeats = [mark for mark in judged.marks if mark[0] > held]
        judged.marks = [mark for mark in judged.marks if mark[0] < held]
        self._bad = judged.bad_before(held)
        return self._put_aside(judged.rows, held, repeats, odd)

    def _put_aside(
        self,
        rows: Rows,
        held: int,
        repeats: list[tuple[int, str, int]],
        odd: Sequence[Oddity],
    ) -> list[Oddity]:
        """Keep the held row and all that came after it; return the oddities before it."""
        later = [each for each in odd if each.position > held]
        later += [
            Oddity(row, kind, int(rows.arrival_ns[row]), rows.text(row)) for row, kind, _ in repeats
        ]
        later.sort(key=lambda each: each.position)
        self._held = (rows.only([held]), [each._replace(position=1) for each in later])
        return [each for each in odd if each.position <= held]

    def _walk(self, judged: Judgement) -> int | None:
        """Go through the rows; return the row that is still in doubt at the end."""
        assert judged.rows.clock is not None
        clock: list[int] | IntArray = judged.rows.clock
        count = len(judged.rows)
        by_array = count >= _FEW
        if not by_array:
            clock = judged.rows.clock.tolist()
        row, calm_from = 0, 0
        held: int | None = None
        while row < count:
            if by_array and row >= calm_from and held is None and self._course.settled:
                row += self._accept_run(judged, row)
                calm_from = row + _CALM
                if row == count:
                    break
            held = self._look_at(judged, row, held, int(clock[row]), clock)
            row += 1
        return held

    def _look_at(
        self,
        judged: Judgement,
        row: int,
        held: int | None,
        now: int,
        clock: list[int] | IntArray,
    ) -> int | None:
        """Judge one row in the light of the one held; return the row held after it."""
        course = self._course
        if held is not None:
            onward = (now - int(clock[held])) & _MASK
            if onward == 0 and self._same_number(judged, row, held):
                judged.reject(row, "repeated")
                return held
            back_on_course = (now - course.last) & _MASK
            returns = back_on_course <= self._minute and back_on_course < onward
            patient = judged.odd_between(held, row) <= _PATIENCE
            if patient and not returns and onward <= self._minute:
                self._accept_step(judged, held)
            else:
                judged.reject(held, "jump back")
        if not course.started:
            self._accept_first(judged, row, now)
            return None
        step = (now - course.last) & _MASK
        if step == 0 and self._same_number(judged, row, None):
            judged.reject(row, "repeated")
        elif step > self._limit(judged.rows):
            return row
        else:
            self._accept_step(judged, row)
        return None

    def _same_number(self, judged: Judgement, row: int, other: int | None) -> bool:
        """Whether a packet's sequence number is that of ``other`` (None: of the last good row)."""
        sequence = judged.rows.sequence
        if sequence is None:
            return True
        before = self._course.sequence if other is None else int(sequence[other])
        return int(sequence[row]) == before

    def _limit(self, rows: Rows) -> int:
        """Return the longest step that needs no second look, in ticks."""
        usual = self._course.usual
        return self._minute if rows.sequence is not None or not usual else 3 * usual // 2

    def _believable_alone(self, judged: Judgement, row: int) -> bool:
        assert judged.rows.clock is not None
        now = int(judged.rows.clock[row])
        if self._is_restart(now):
            return now < self._young
        return (now - self._course.last) & _MASK <= self._minute

    def _is_restart(self, now: int) -> bool:
        """Whether the clock fell, and not by wrapping."""
        fall = self._course.last - now
        if fall <= 0:
            return False
        wraps_far = (now - self._course.last) & _MASK > self._minute
        return fall <= _HALF or (now < self._young and wraps_far)

    def _accept_first(self, judged: Judgement, row: int, now: int) -> None:
        course = self._course
        course.started = True
        course.board_us = now * self._tick_us
        self._settle(judged, row, now)

    def _accept_step(self, judged: Judgement, row: int) -> None:
        """Take a row as good: a usual step, a gap or a restart."""
        assert judged.rows.clock is not None
        course = self._course
        now = int(judged.rows.clock[row])
        if self._is_restart(now):
            host_us = (int(judged.rows.arrival_ns[row]) - course.arrival_ns) // 1000
            course.board_us += max(host_us, course.usual * self._tick_us, 1)
            judged.flags[row] |= _RESTART
            judged.marks.append((row, "restart", 0))
        else:
            step = (now - course.last) & _MASK
            self._mark_gap(judged, row, step)
            course.board_us += step * self._tick_us
            self._learn(step)
        self._settle(judged, row, now)

    def _mark_gap(self, judged: Judgement, row: int, step: int) -> None:
        """Mark what is missing before a row, less the bad lines that stand for it."""
        sequence, usual = judged.rows.sequence, self._course.usual
        if sequence is None:
            if not usual or 2 * step <= 3 * usual:
                return
            missing = (2 * step + usual) // (2 * usual) - 1
        else:
            missing = ((int(sequence[row]) - self._course.sequence) & _SEQUENCE_MASK) - 1
            if missing == 0:
                return
        judged.flags[row] |= _GAP
        lost = max(0, missing - judged.bad_before(row))
        if lost:
            judged.marks.append((row, "gap", lost))

    def _settle(self, judged: Judgement, row: int, now: int) -> None:
        """Move the course to a row that is good."""
        course, rows = self._course, judged.rows
        judged.board_us[row] = course.board_us
        course.last = now
        course.arrival_ns = int(rows.arrival_ns[row])
        if rows.sequence is not None:
            course.sequence = int(rows.sequence[row])
        judged.accept_last(row)

    def _learn(self, step: int) -> None:
        """Fold a step into the usual step."""
        course, group = self._course, self._group
        group.append(step)
        if len(group) == _MEDIAN_OF:
            course.usual = sorted(group)[_MEDIAN_OF // 2]
            course.settled = True
            group.clear()
        elif not course.settled and len(group) >= _ENOUGH:
            course.usual = sorted(group)[(len(group) - 1) // 2]

    # -- many usual steps at once -------------------------------------------------------------

    def _usual_block(self, rows: Rows) -> Decoded | None:
        """Return the samples of rows that all follow at usual steps; None if one does not."""
        if rows.clock is None or not self._course.settled or not 0 < len(rows) <= _WINDOW:
            return None
        steps = _steps(rows.clock, self._course.last) & _MASK
        if self._usual_steps(steps, rows, 0) < len(rows):
            return None
        self._bad = 0
        return Decoded(self._samples(rows, self._follow(rows, 0, steps), 0), ())

    def _accept_run(self, judged: Judgement, row: int) -> int:
        """Take the rows from ``row`` on that follow at usual steps; return how many."""
        rows, course = judged.rows, self._course
        assert rows.clock is not None
        taken = 0
        while True:
            begin = row + taken
            window = rows.clock[begin : begin + _WINDOW]
            if not len(window):
                return taken
            steps = _steps(window, course.last) & _MASK
            count = self._usual_steps(steps, rows, begin)
            if count:
                self._accept_steps(judged, begin, steps[:count])
                taken += count
            if count < len(window):
                return taken

    def _usual_steps(self, steps: IntArray, rows: Rows, begin: int) -> int:
        """Return how many of ``steps`` in a row need no second look."""
        if rows.sequence is not None:
            numbers = rows.sequence[begin : begin + len(steps)]
            ahead = _steps(numbers, self._course.sequence) & _SEQUENCE_MASK
            plain = (ahead == 1) & (steps <= self._minute)
        else:
            least = min(self._course.usual, int(steps.min()), *self._group)
            if least > 0 and 2 * int(steps.max()) <= 3 * least:
                return len(steps)  # no median can be below the least: nothing to look up
            plain = (steps > 0) & (2 * steps <= 3 * self._usual_at_each(steps))
        return len(steps) if plain.all() else int(plain.argmin())

    def _usual_at_each(self, steps: IntArray) -> IntArray:
        """Return the usual step that holds at each of ``steps``, were all of them good."""
        every = np.concatenate([np.asarray(self._group, dtype=np.int64), steps])
        full = len(every) // _MEDIAN_OF
        groups = np.sort(every[: full * _MEDIAN_OF].reshape(full, _MEDIAN_OF), axis=1)
        medians = np.concatenate([[self._course.usual], groups[:, _MEDIAN_OF // 2]])
        return np.repeat(medians, _MEDIAN_OF)[len(self._group) : len(every)]

    def _accept_steps(self, judged: Judgement, begin: int, steps: IntArray) -> None:
        end = begin + len(steps)
        judged.good[begin:end] = True
        judged.board_us[begin:end] = self._follow(judged.rows, begin, steps)
        judged.accept_last(end - 1)

    def _follow(self, rows: Rows, begin: int, steps: IntArray) -> IntArray:
        """Move the course over rows at usual steps; return their board_us."""
        assert rows.clock is not None
        course, last = self._course, begin + len(steps) - 1
        board_us: IntArray = steps.cumsum()
        board_us *= self._tick_us
        board_us += course.board_us
        over = (len(self._group) + len(steps)) % _MEDIAN_OF
        recent = self._group + steps[-(over + _MEDIAN_OF) :].tolist()
        if len(self._group) + len(steps) >= _MEDIAN_OF:
            recent = recent[-(over + _MEDIAN_OF) :]
            course.usual = sorted(recent[:_MEDIAN_OF])[_MEDIAN_OF // 2]
            recent = recent[_MEDIAN_OF:]
        self._group = recent
        course.board_us = int(board_us[-1])
        course.last = int(rows.clock[last])
        course.arrival_ns = int(rows.arrival_ns[last])
        if rows.sequence is not None:
            course.sequence = int(rows.sequence[last])
        return board_us

    # -- a line without a clock ---------------------------------------------------------------

    def _accept_without_clock(self, judged: Judgement) -> None:
        """Every row is good; a silence of the host's clock is a gap of unknown size."""
        judged.good[:] = True
        for row in self._silence.breaks(judged.rows.arrival_ns):
            judged.flags[row] |= _GAP
            judged.marks.append((row, "gap", 0))


def _steps(values: IntArray, before: int) -> IntArray:
    """Return the differences of ``values``, the first to ``before``."""
    steps = np.empty_like(values)
    steps[0] = values[0] - before
    np.subtract(values[1:], values[:-1], out=steps[1:])
    return steps
