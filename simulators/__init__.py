"""A rig that is not there: mechanics, converter, wire, faults. Imports nothing of daq."""
