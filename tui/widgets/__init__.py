"""The console's parts."""
