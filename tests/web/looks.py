"""In which looks a page is tried: each theme and each width once; all four of them with EVERY_LOOK=1."""

import os
from itertools import product

EVERY = list(product(("light", "dark"), (320, 1280)))
PRESENTATIONS = EVERY if os.environ.get("EVERY_LOOK") else [("light", 320), ("dark", 1280)]
