"""``python -m coldsift.cli``."""

from coldsift.cli import main

main()
