"""Published formulas, one file per source."""
