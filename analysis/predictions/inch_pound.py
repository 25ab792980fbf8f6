"""The handbook's formulas as printed in inches and pounds, to set beside a page of the book.

The metric coefficients were rounded in print (8,100 is 125.375, printed 125.4), so the
two forms differ by up to 0.02 %.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class InchPoundForm:
    """p = c G^g D^d L in lbf, D and L in inches."""

    coefficient: float
    gravity_power: float
    diameter_power: float
    basis: str
    source: str

    def withdrawal_lbf(self, gravity: float, diameter_in: float, length_in: float) -> float:
        """Return the average ultimate withdrawal in lbf."""
        wood = self.coefficient * gravity**self.gravity_power
        return float(wood * diameter_in**self.diameter_power * length_in)


_CHAPTER = "USDA Wood Handbook, FPL-GTR-282 (2021) ch. 8"
SMOOTH_NAIL = InchPoundForm(7850.0, 2.5, 1.0, "G12", f"{_CHAPTER} Eq. 8-1")
WOOD_SCREW = InchPoundForm(15700.0, 2.0, 1.0, "G12", f"{_CHAPTER} Eq. 8-10")
LAG_SCREW = InchPoundForm(8100.0, 1.5, 0.75, "G12", f"{_CHAPTER} Eq. 8-14")
#: The older form, on oven-dry volume; it equals the 7,850 form once G is converted.
SMOOTH_NAIL_OVEN_DRY = InchPoundForm(
    6900.0, 2.5, 1.0, "G0", "FPL Technical Note 236 (1958), Research Note FPL-093 (1965)"
)
