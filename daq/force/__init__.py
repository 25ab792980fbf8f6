"""Counts become newtons at each cell, and specimen force."""
