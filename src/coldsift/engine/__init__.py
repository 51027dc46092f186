"""The main job: every stage in its order, and the outputs written whole.

Goes in: paths of logs and settings. Comes out: a :class:`Screening` with every table, and, where asked, a
folder with the report, the tables and the manifest; or the dossier of one container with its bundle.
"""

from coldsift.engine.bundles import verify, write_dossier
from coldsift.engine.folders import OutputError
from coldsift.engine.papers import VoyageFiles
from coldsift.engine.reconstructing import DossierError, Request, reconstruct
from coldsift.engine.screening import Screening, screen
from coldsift.engine.settings import Settings
from coldsift.engine.write import write_outputs

__all__ = [
    "DossierError",
    "OutputError",
    "Request",
    "Screening",
    "Settings",
    "VoyageFiles",
    "reconstruct",
    "screen",
    "verify",
    "write_dossier",
    "write_outputs",
]
