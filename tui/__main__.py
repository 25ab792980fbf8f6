"""``python -m tui`` is the same command."""

import sys

from tui.cli import main

sys.exit(main())
