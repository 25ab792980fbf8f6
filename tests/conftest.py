"""How the property tests draw: the same cases each time, or new ones when exploring."""

import os

from hypothesis import settings

# A gate must answer the same for the same tree; `make fuzz` is where new cases are looked for, and
# what it finds is kept beside the test as an @example.
settings.register_profile("gate", derandomize=True, print_blob=True)
settings.register_profile("explore", print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "gate"))
