"""HDF5: raw counts and everything needed to do the sums again."""
