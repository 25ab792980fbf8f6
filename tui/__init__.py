"""The one command and the console."""
