"""The console's screens."""
