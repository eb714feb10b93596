"""`python -m meshlint`."""

import sys
from pathlib import Path

# Python puts the current folder first among the places to import from. What is checked may lie
# there, and nothing of it is ever to run; our own package is imported by now.
if not sys.flags.safe_path and sys.path and Path(sys.path[0] or ".").resolve() == Path.cwd():
    del sys.path[0]

from meshlint.start import main

main()
