"""The main job: every stage in its order, and the outputs written whole.

Goes in: paths of logs and settings. Comes out: a :class:`Screening` with every table, and, where asked, a
folder with the report, the tables and the manifest.
"""

from coldsift.engine.screening import Screening, Settings, screen
from coldsift.engine.write import OutputError, write_outputs

__all__ = ["OutputError", "Screening", "Settings", "screen", "write_outputs"]
