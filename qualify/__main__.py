"""`python -m qualify`."""

from qualify.cli import main

main()
