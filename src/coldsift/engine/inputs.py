"""The papers that were given beside the logs, kept with what was made from them."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from pathlib import Path

from coldsift.engine.settings import Settings
from coldsift.places import OutputError

INPUTS = "inputs"
"""Folder in which they are kept, ``inputs/KEY/NAME``."""

WORDS = {
    "facts": "Facts on the containers",
    "plan": "Stowage plan",
    "bookings": "Bookings",
    "events": "Custody events",
    "notes": "Work notes",
    "goods": "Own commodities",
    "protocols": "Own protocols",
    "causes": "Own cause catalogue",
    "thresholds": "Own thresholds",
}
"""What each is, by the key that :meth:`Settings.files` gives it, in the order in which they are told."""


def digest(path: Path) -> str:
    """SHA-256 of a file."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def copy_inputs(settings: Settings, folder: Path) -> dict[str, dict[str, str]]:
    """Copy what was given into a folder.

    Parameters
    ----------
    settings
        Of the run.
    folder
        Of the run's outputs.

    Returns
    -------
    dict
        By key: ``file``, the path in the folder, and ``sha256``.

    Raises
    ------
    OutputError
        When one is not any more as it was when it was read.
    """
    kept = {}
    for key, path in settings.files().items():
        name = f"{INPUTS}/{key}/{path.name}"
        copy = folder / name
        copy.parent.mkdir(parents=True)
        copy.write_bytes(path.read_bytes())
        sha256 = digest(copy)
        if settings.digests.get(key, sha256) != sha256:
            raise OutputError(
                f"{path} was changed after it was read, and the outputs would not be of it. Start again. An "
                "earlier run is untouched."
            )
        kept[key] = {"file": name, "sha256": sha256}
    return kept


def digests_of(settings: Settings) -> dict[str, str]:
    """SHA-256 of what was given, by key, as far as it can be read; before it is read."""
    known = {}
    for key, path in settings.files().items():
        with suppress(OSError):
            # A pipe would be read empty, or waited for without end.
            if path.is_file():
                known[key] = digest(path)
    return known
