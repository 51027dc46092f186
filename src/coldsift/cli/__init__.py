"""The command line.

Goes in: arguments. Comes out: files, a short table on the terminal, and an exit status: 0 done, 1 done but
some files unusable, 2 nothing usable or a wrong call.
"""

from coldsift.cli.app import main

__all__ = ["main"]
