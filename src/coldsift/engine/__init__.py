"""The main job: every stage in its order, and the outputs written whole.

Goes in: paths of logs and settings. Comes out: a :class:`Screening` with every table, and, where asked, a
folder with the report, the tables and the manifest; or the dossier of one container with its bundle.
"""

from coldsift.engine.bundles import write_dossier
from coldsift.engine.cluster import on_cluster
from coldsift.engine.evidence import DossierError
from coldsift.engine.papers import VoyageFiles
from coldsift.engine.reconstructing import Request, reconstruct
from coldsift.engine.running import Runner, RunnerError, processes
from coldsift.engine.screening import Screening, screen
from coldsift.engine.settings import Settings
from coldsift.engine.verifying import verify
from coldsift.engine.write import write_outputs
from coldsift.places import OutputError

__all__ = [
    "DossierError",
    "OutputError",
    "Request",
    "Runner",
    "RunnerError",
    "Screening",
    "Settings",
    "VoyageFiles",
    "on_cluster",
    "processes",
    "reconstruct",
    "screen",
    "verify",
    "write_dossier",
    "write_outputs",
]
