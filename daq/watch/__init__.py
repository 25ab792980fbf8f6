"""Judging the force as it comes: stop, peak, phase, pace. Pure."""
