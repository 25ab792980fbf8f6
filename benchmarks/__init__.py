"""Side-by-side measurements: each compares ours with another way in the same run."""
