"""`python -m dtctriage`."""

from dtctriage.cli import main

main()
