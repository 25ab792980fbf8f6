"""Numbers and verdicts as a reader meets them: digits that the uncertainty allows, units, words."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.comparison import Comparison
from analysis.groups import Level, level_words
from analysis.verdict import PairVerdict, Verdict
from daq.units import FORCE_DECIMALS, force_in

UNITS = tuple(FORCE_DECIMALS)
NOTHING = "–"
USUAL_DECIMALS = {"N": 0, "kN": 2, "kgf": 0, "lbf": 0}
MOST_DECIMALS = {"N": 1, "kN": 3, "kgf": 1, "lbf": 1}
SIGN = {Verdict.MATTERS: "≠", Verdict.DOES_NOT: "≈", Verdict.CANNOT_TELL: "?"}
WORD = {
    Verdict.MATTERS: "matters",
    Verdict.DOES_NOT: "does not matter",
    Verdict.CANNOT_TELL: "cannot tell",
}
#: Ending of a specimen key -> the unit it stands for.
KEY_UNITS = {"_kg_m3": "kg/m³", "_mpa": "N/mm²", "_pct": "%", "_deg": "°", "_mm": "mm", "_s": "s"}


@dataclass(frozen=True, slots=True)
class ForceUnit:
    """The unit a person asked for; where it is not SI, kN stand in front of it."""

    own: str = "kN"

    @property
    def si(self) -> str:
        """The SI unit that tables and charts are in."""
        return self.own if self.own in ("N", "kN") else "kN"

    @property
    def beside(self) -> str:
        """The unit that stands beside it, or "" where the SI unit is the person's own."""
        return "" if self.own == self.si else self.own

    def number(self, force_n: float, spread_n: float = math.nan, *, sign: bool = False) -> str:
        """Return a force in the SI unit without its name, digits by its spread (N)."""
        return number(force_n, self.si, spread_n, sign=sign)

    def own_number(self, force_n: float, spread_n: float = math.nan) -> str:
        """Return a force in the person's unit without its name."""
        return number(force_n, self.own, spread_n)

    def words(self, force_n: float, spread_n: float = math.nan, *, sign: bool = False) -> str:
        """Return a force with its unit: "4.60 kN", or "4.60 kN (469 kgf)"."""
        text = f"{number(force_n, self.si, spread_n, sign=sign)}\u00a0{self.si}"
        if self.beside and math.isfinite(force_n):
            text += f" ({number(force_n, self.own, spread_n, sign=sign)}\u00a0{self.own})"
        return text


KILONEWTONS = ForceUnit()


def number(force_n: float, unit: str, spread_n: float = math.nan, *, sign: bool = False) -> str:
    """Return a force with decimals for two digits of its spread, or those usual for the unit."""
    if not math.isfinite(force_n):
        return NOTHING
    decimals = decimals_for(spread_n, unit)
    text = f"{force_in(force_n, unit):{'+' if sign else ''}.{decimals}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", "−")


def decimals_for(spread_n: float, unit: str) -> int:
    """Return decimals that show two significant digits of a spread (GUM 7.2.6), within reason."""
    spread = force_in(spread_n, unit)
    if not math.isfinite(spread) or spread <= 0.0:
        return USUAL_DECIMALS[unit]
    return min(MOST_DECIMALS[unit], max(0, 1 - math.floor(math.log10(spread))))


def plain(value: float, decimals: int) -> str:
    """Return a number with fixed decimals and a true minus; an en dash for NaN."""
    if not math.isfinite(value):
        return NOTHING
    return f"{value:.{decimals}f}".replace("-", "−")


def percent(share: float, *, sign: bool = False) -> str:
    """Return a share in percent."""
    if not math.isfinite(share):
        return NOTHING
    text = f"{share:{'+' if sign else ''}.0%}"
    if not text.strip("+-0%"):
        text = text.lstrip("+-")
    return text.replace("-", "−").replace("%", "\u202f%")


def p_words(p: float) -> str:
    """Return a p-value as it is usually written."""
    if not math.isfinite(p):
        return NOTHING
    return "p\u00a0<\u00a00.001" if p < 0.001 else f"p\u00a0=\u00a0{p:.3f}"


def key_name(key: str) -> str:
    """Return a specimen key as words: "pilot_mm" as "pilot"."""
    return key.removesuffix(_key_ending(key)).replace("_", " ").strip() or key


def key_unit(key: str) -> str:
    """Return the unit a specimen key carries in its name, or ""."""
    return KEY_UNITS.get(_key_ending(key), "")


def _key_ending(key: str) -> str:
    return next((end for end in KEY_UNITS if key.endswith(end)), "")


def level_name(key: str, level: Level) -> str:
    """Return a level with the unit of its key: "8.5 mm"."""
    unit = key_unit(key) if not isinstance(level, str) else ""
    return f"{level_words(level)}\u00a0{unit}" if unit else level_words(level)


def headline(found: Comparison) -> str:
    """Return the answer to "does it matter" in a sentence."""
    verdicts = {pair.verdict for pair in found.pairs}
    if not found.pairs:
        return "Only one level was pulled: there is nothing to compare it with."
    if Verdict.MATTERS in verdicts:
        return "Yes, it matters." if len(verdicts) == 1 else "Yes, but not between all levels."
    if Verdict.CANNOT_TELL in verdicts:
        return "These pulls cannot tell."
    return f"No: any difference lies within {found.bound.words}."


@dataclass(frozen=True, slots=True)
class PairWords:
    """A verdict on two levels, ready to be set."""

    sign: str
    pair: str
    verdict: str
    rest: str


def pair_words(pair: PairVerdict, found: Comparison, unit: ForceUnit) -> PairWords:
    """Return the verdict on a pair in words, with its difference and what would settle it."""
    names = f"{level_name(found.by, pair.a)} against {level_name(found.by, pair.b)}"
    if pair.estimate is None:
        # A pair that no method may judge says why in its own words.
        rest = pair.sentence.partition("cannot tell.")[2].strip()
    else:
        rest = f"{difference_words(pair, unit)}{_then(pair, found)}"
    return PairWords(SIGN[pair.verdict], names, WORD[pair.verdict], rest)


def difference_words(pair: PairVerdict, unit: ForceUnit) -> str:
    """Return a difference with its share and interval."""
    low, high = pair.ci95_n
    spread = (high - low) / 2.0
    ends = f"{unit.number(low, spread, sign=True)} to {unit.number(high, spread, sign=True)}"
    size = unit.words(pair.difference_n, spread, sign=True)
    share = percent(pair.share, sign=True)
    return f"{size}, {share}; 95\u202f% interval {ends}\u00a0{unit.si}"


def _then(pair: PairVerdict, found: Comparison) -> str:
    if pair.verdict is Verdict.DOES_NOT:
        usual = "" if found.bound.stated else ", the usual bound as none was stated"
        return f". Within {found.bound.words}{usual}."
    if pair.verdict is Verdict.MATTERS:
        return "."
    if pair.needed is None:
        return ". No number of pulls in reach would settle it."
    return f". About {pair.needed} pulls in each group would settle it ({pair.more} more)."


def listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
