"""One wood, many numbers: converters between the bases of specific gravity, and adjustments.

Gb   oven-dry mass / green volume (basic)
G12  oven-dry mass / volume at 12 % moisture   (USDA Wood Handbook withdrawal formulas)
G0   oven-dry mass / oven-dry volume           (NDS)
rho  mass and volume both at the moisture named, kg/m3

All by USDA Wood Handbook, FPL-GTR-282 (2021), Eq. 4-12 to 4-14, p. 4-12 (fibre saturation at 30 %).
EC5's rho_k is a 5th percentile, not a mean: nothing here makes one out of the other.
"""

_SHRINKAGE = 0.265  # volumetric shrinkage per unit of Gb, green to oven-dry
_FIBRE_SATURATION_PCT = 30.0


def _swelling(moisture_pct: float) -> float:
    """Return the coefficient of Gb in 1/G_x = 1/Gb - coefficient; 0 at and above saturation."""
    return _SHRINKAGE * max(0.0, 1.0 - moisture_pct / _FIBRE_SATURATION_PCT)


def at_moisture(gb: float, moisture_pct: float) -> float:
    """Return oven-dry mass over volume at ``moisture_pct``: Gb / (1 - 0.265 Gb (1 - x/30))."""
    return gb / (1.0 - _swelling(moisture_pct) * gb)


def basic(gx: float, moisture_pct: float) -> float:
    """Return Gb from the specific gravity whose volume was taken at ``moisture_pct``."""
    return gx / (1.0 + _swelling(moisture_pct) * gx)


def g12_from_g0(g0: float) -> float:
    """Return G12 of a wood with oven-dry specific gravity ``g0`` (0.500 -> 0.475)."""
    return at_moisture(basic(g0, 0.0), 12.0)


def g0_from_g12(g12: float) -> float:
    """Return G0 of a wood with specific gravity ``g12`` at 12 % volume (0.475 -> 0.500)."""
    return at_moisture(basic(g12, 12.0), 0.0)


def density_kg_m3(gx: float, moisture_pct: float) -> float:
    """Return the density at ``moisture_pct``: 1000 G_x (1 + x/100) (Eq. 4-14)."""
    return 1000.0 * gx * (1.0 + moisture_pct / 100.0)


def g12_from_density(density: float, moisture_pct: float) -> float:
    """Return G12 of a board that weighs ``density`` kg/m3 at ``moisture_pct``."""
    gx = density / (1000.0 * (1.0 + moisture_pct / 100.0))
    return at_moisture(basic(gx, moisture_pct), 12.0)


def g_at_moisture_nds(g0: float, moisture_pct: float) -> float:
    """Return G0 / (1 + 0.009 G0 MC), the NDS Supplement form (from memory), as a cross-check."""
    return g0 / (1.0 + 0.009 * g0 * moisture_pct)


def property_at_moisture(
    at_12_pct: float, green: float, moisture_pct: float, intersection_pct: float = 25.0
) -> float:
    """Return a clear-wood strength or stiffness at ``moisture_pct``, in the unit it was given in.

    P = P12 (P12/Pg)^((12 - M)/(Mp - 12)), USDA Wood Handbook Eq. 5-3; ``intersection_pct`` is Mp
    (about 25; 24 for white ash). Above Mp the green value holds.
    """
    moisture = min(moisture_pct, intersection_pct)
    exponent = (12.0 - moisture) / (intersection_pct - 12.0)
    return float(at_12_pct * (at_12_pct / green) ** exponent)
