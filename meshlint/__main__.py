"""`python -m meshlint`."""

from meshlint.cli import main

main()
