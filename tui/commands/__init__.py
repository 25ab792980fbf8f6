"""One file per command of the command line.

A command is a module with ``add_arguments(parser)`` and ``run(args) -> int`` (the exit code). Only
the module of the command asked for is imported, so that ``pullstand --help`` stays quick; modules
import heavy libraries inside ``run``.
"""

#: Command -> (module, one line of help), in the order of a day at the rig.
COMMANDS = {
    "demo": ("demo", "a simulated rig on a real serial port, with the console on it"),
    "ports": ("ports", "which boards are attached"),
    "doctor": ("doctor", "what is wrong with this set-up, and what to do"),
    "rig": ("rig", "will the rig take it: load path, weakest part, stop, stored energy"),
    "calibrate": ("calibrate", "counts to newtons from known weights, with what it may claim"),
    "plan": ("plan", "factors, replicates and boards to a shuffled list with drills and labels"),
    "predict": ("predict", "published formulas: what force to expect, with source and validity"),
    "pull": ("pull", "watch and record pulls"),
    "replay": ("replay", "play a recording through the same chain to the screen or a port"),
    "reduce": ("reduce", "recordings to results: maximum, time, kind, flags"),
    "compare": ("compare", "does the factor matter, or is it scatter"),
    "amend": ("amend", "add a correction beside the old and reduce all pulls again"),
    "report": ("report", "one self-contained page"),
    "repair": ("repair", "what a cut-short recording still holds"),
    "simulate": ("simulate", "a simulated board on a serial port, till its script is over"),
}
