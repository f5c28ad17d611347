"""`python -m pattern.cli` is the same as `contact-pattern`."""

from pattern.cli import main

main()
