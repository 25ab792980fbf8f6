"""Runs the console on the frozen session of the snapshot tests, for a terminal to look at."""

import importlib.util
import sys
from pathlib import Path


def main() -> int:
    path = Path(__file__).parents[1] / "snapshot" / "conftest.py"
    spec = importlib.util.spec_from_file_location("frozen_sessions", path)
    frozen = importlib.util.module_from_spec(spec)
    sys.modules["frozen_sessions"] = frozen
    spec.loader.exec_module(frozen)
    session = frozen.session_in("slack")
    from tui.console import run_console

    if "--crash" in sys.argv:
        from tui.console import Console

        def fail(_: Console) -> None:
            raise RuntimeError("looking failed")

        Console.look = fail
    return run_console(session, cautions=False)


if __name__ == "__main__":
    sys.exit(main())
