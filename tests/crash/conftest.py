"""The helpers of these tests are scripts beside them (a child runs them too)."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
