"""Dependencies as installed against what was decided: no network, and quick.

Every library that pullstand needs, at any depth, must be installed in the version that
constraints.txt names and be content with the others (``pip check``). A list of known weaknesses is
asked for by hand (`pip-audit -r constraints.txt`), because it needs the network.
"""

import contextlib
import re
import subprocess
import sys
from importlib import metadata
from pathlib import Path

CONSTRAINTS = Path(__file__).parents[1] / "constraints.txt"


def plain(name: str) -> str:
    """Return a name as package names are compared."""
    return re.sub(r"[-_.]+", "-", name).lower()


def needed() -> dict[str, str]:
    """Return name -> version of what pullstand[dev] needs, at any depth, and is installed."""
    found: dict[str, str] = {}
    waiting = ["pullstand"]
    while waiting:
        name = waiting.pop()
        for requirement in metadata.requires(name) or ():
            extra = re.search(r"extra\s*==\s*['\"]([^'\"]+)", requirement)
            if extra and (name, extra[1]) != ("pullstand", "dev"):
                continue
            other = plain(re.match(r"[A-Za-z0-9._-]+", requirement)[0])
            with contextlib.suppress(metadata.PackageNotFoundError):  # of another system
                if other not in found:
                    found[other] = metadata.version(other)
                    waiting.append(other)
    return found


def main() -> int:
    """Print every complaint; return 1 if there is one."""
    lines = CONSTRAINTS.read_text(encoding="utf-8").splitlines()
    pins = dict(line.split(";")[0].split("==") for line in lines if "==" in line)
    pinned = {plain(name): version.strip() for name, version in pins.items()}
    complaints = [
        f"{name} {version} is installed, constraints.txt says {pinned.get(name, 'nothing')}"
        for name, version in needed().items()
        if pinned.get(name) != version
    ]
    check = [sys.executable, "-m", "pip", "--disable-pip-version-check", "check"]
    content = subprocess.run(check, capture_output=True, text=True, check=False)
    if content.returncode:
        complaints.append(content.stdout.strip())
    sys.stdout.write("\n".join(complaints or [f"{len(needed())} libraries, all as decided"]) + "\n")
    return bool(complaints)


if __name__ == "__main__":
    sys.exit(main())
