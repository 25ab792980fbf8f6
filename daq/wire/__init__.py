"""Bytes from a port become samples with a time."""
