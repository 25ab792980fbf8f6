"""Plain functions of arrays that a comparison is built from; none knows what a pull is.

summary          one group: mean, spread, interval, geometric mean
characteristic   the low-end value of EN 14358 and limits without a distribution
one_way          classic and Welch analysis of variance, Kruskal-Wallis
linear_model     factor, other factors, boards as blocks: one least-squares model
pairwise         differences of every two levels with intervals (Tukey-Kramer, Games-Howell)
equivalence      "as good as" within a bound
censored         pulls that ended whole: likelihood with the same model
product_limit    the same without a distribution
sample_size      how many pulls would settle it
outliers         values to look at (flags; removes nothing)
plateau          flat up to a pilot diameter, falling beyond it
adjustment       to one density, to one moisture, by a named rule

SciPy is imported inside the functions: it takes half a second that only a comparison should pay.
"""
