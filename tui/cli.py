"""The one command: finds the sub-command, runs it, turns faults into sentences and exit codes."""

import argparse
import errno
import importlib
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from types import ModuleType

from rich_argparse import RawDescriptionRichHelpFormatter

from tui.commands import COMMANDS

ABOUT = """\
Pull fasteners out of wood on a shop-built load-cell rig: know the rig, trust
the number, keep every pull, get an answer.  Try: pullstand demo
"""
CAUTION = """\
The stop threshold is a notice on a screen, not a safety function: it cannot
hold the crank or release a load. Wear eye protection, keep the line of fire
empty, follow local rules.
exit codes: 0 done, 2 usage or bad input file, 3 no device or device lost,
4 stopped by the guard, 5 recording damaged or refused, 130 interrupted
"""
INTERRUPTED = 130
DEFECT = 1
USAGE = 2
#: What a system says of a name that can be no file's.
NAMES = (errno.ENAMETOOLONG, errno.ELOOP, errno.EINVAL)
#: What a system says of a place that takes no more.
FULL = (errno.ENOSPC, errno.EFBIG, errno.EIO)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    try:
        parser, chosen = _parser(arguments)
        args = parser.parse_args(arguments)
        if chosen is None:
            parser.print_help()
    except OSError as error:
        return _told(error)
    return 0 if chosen is None else _run(chosen, args)


def _run(command: ModuleType, args: argparse.Namespace) -> int:
    from daq.faults import Fault  # not needed for --help
    from tui.output import say

    try:
        return int(command.run(args))
    except Fault as fault:
        say(f"pullstand: {fault}")
        return fault.exit_code
    except KeyboardInterrupt:
        say("pullstand: interrupted")
        return INTERRUPTED
    except Exception as error:  # a person gets a sentence
        return _told(error)


def _told(error: Exception) -> int:
    """Say what happened in a sentence; return the exit code."""
    from tui.output import say

    if isinstance(error, BrokenPipeError):  # whoever read our words has gone
        _drop_output()
        return 0
    words, code = _in_words(error)
    say(f"pullstand: {words}")
    return code


def _drop_output() -> None:
    """Let nothing more be written to stdout, not even what waits for the end."""
    with suppress(OSError):  # a stdout that is no file of the system
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _in_words(error: Exception) -> tuple[str, int]:
    if isinstance(error, MemoryError) or "failed to map segment" in str(error):  # of a library
        return "not enough memory: close other programs. What was recorded is safe.", DEFECT
    if isinstance(error, OSError) and error.errno in NAMES:
        return f"{error.filename}: {error.strerror}. Give another name.", USAGE
    if isinstance(error, OSError) and error.errno in FULL:
        _drop_output()
        words = f"nothing more can be written ({error.strerror}): make room, or write elsewhere."
        return f"{words} What was recorded is safe.", DEFECT
    return _defect(error), DEFECT


def _defect(error: Exception) -> str:
    """Keep the details of a defect of ours, and return a sentence about it."""
    import tempfile
    import traceback

    what = f"a defect of this program ({type(error).__name__}: {error}). What was recorded is safe."
    try:
        with tempfile.NamedTemporaryFile(
            "w", prefix="pullstand-defect-", suffix=".txt", delete=False, encoding="utf-8"
        ) as file:
            traceback.print_exception(error, file=file)
    except OSError:  # no room for the details either
        return what
    return f"{what} The details are in {file.name}; please send them with what you did."


def _parser(arguments: Sequence[str]) -> tuple[argparse.ArgumentParser, ModuleType | None]:
    """Return the parser, and the module of the command that ``arguments`` name (if any)."""
    parser = argparse.ArgumentParser(
        prog="pullstand",
        description=ABOUT,
        epilog=CAUTION,
        formatter_class=RawDescriptionRichHelpFormatter,
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the version and end")
    commands = parser.add_subparsers(metavar="command", dest="command")
    named = next((word for word in arguments if not word.startswith("-")), None)
    chosen = None
    for name, (module, about) in COMMANDS.items():
        sub = commands.add_parser(
            name, help=about, description=about, formatter_class=RawDescriptionRichHelpFormatter
        )
        if name == named:
            chosen = importlib.import_module(f"tui.commands.{module}")
            chosen.add_arguments(sub)
        sub.add_argument("--json", action="store_true", help="print one JSON document on stdout")
    return parser, chosen


class _Version(argparse.Action):
    """Asks for the version only when it is wanted: looking it up takes longer than the help."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from daq.run_header import program_version

        print(f"pullstand {program_version()}")  # noqa: T201
        parser.exit()
