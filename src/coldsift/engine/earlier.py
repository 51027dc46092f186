"""The log of an earlier run in the outputs' folder, for as long as its files are what they were.

Goes in: the folder of a finished run, and what is to be read now. Comes out: what reading would give, from
the run's own tables; or None where a file, a way of reading or a table is not what it was. Only a run that
says by its digests that nothing has changed is used; there is no other store.
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

import polars as pl

import coldsift
from coldsift.engine.inputs import digest
from coldsift.engine.reading import SourcesRead
from coldsift.intake import Message, ReadOptions, SourceRecord
from coldsift.intake.declaration import Layout
from coldsift.intake.files import Found
from coldsift.intake.read import ASIDE, ReadSource
from coldsift.schema import COMMON_LOG, SET_ASIDE

MANIFEST = "manifest.json"
ALIKE = ("polars", "numpy", "python-stdnum")
"""Libraries that shape a log as it is read."""


@dataclass(frozen=True, slots=True)
class FromRun:
    """Rows of a part of an earlier run's log, as if they had just been read."""

    path: Path
    numbers: Mapping[str, int]

    def frame(self) -> pl.DataFrame:
        """Read them."""
        number = pl.col("source").replace_strict(dict(self.numbers), return_dtype=pl.Int64)
        return (
            pl.read_parquet(self.path, glob=False)
            .with_columns(number=number, lines=pl.lit(1, pl.Int64))
            .drop("source")
        )


def reading_digest(files: Mapping[str, str], options: ReadOptions, layouts: Sequence[Layout]) -> str:
    """What a log as read depends on, as one digest: files, how they are read, and by which program.

    Parameters
    ----------
    files
        SHA-256 of every file by the path shown for it.
    options
        What the logs themselves do not settle.
    layouts
        By which they are read; they count by what they say.
    """
    depends = [
        sorted(files.items()),
        [options.date_order, options.time_zone, options.layout],
        [repr(layout) for layout in layouts],
        {name: metadata.version(name) for name in ALIKE},
        _program(),
    ]
    return hashlib.sha256(json.dumps(depends, sort_keys=True).encode()).hexdigest()


@functools.cache
def _program() -> str:
    """Digest of coldsift's own text: a version number does not change while somebody works on it."""
    text = hashlib.sha256()
    home = Path(coldsift.__file__).parent
    for path in sorted(path for ending in ("py", "toml") for path in home.rglob(f"*.{ending}")):
        text.update(path.relative_to(home).as_posix().encode() + b"\0" + path.read_bytes())
    return text.hexdigest()


def reading_record(
    read: SourcesRead, options: ReadOptions, sources: Sequence[Mapping[str, Any]], parts: Mapping[str, str]
) -> dict[str, Any]:
    """What a run keeps of its reading, for :func:`earlier_reading`.

    Parameters
    ----------
    read, options
        What was read, and how.
    sources
        The final account of every source, as the manifest has it.
    parts
        SHA-256 of each file of the run that is needed again, by its path in the run.
    """
    ids = [source.record.id for source in read.sources]
    units: dict[str, dict[str, int]] = {identity: {} for identity in ids}
    for container, order, readings in read.units.select("container", "order", "readings").iter_rows():
        units[ids[order]][container] = readings
    told = {
        # As they were before equal rows were merged: by them the units are divided into batches, and a
        # source of which every row was merged still speaks for its containers.
        "units": units,
        "messages": [asdict(message) for message in read.messages],
    }
    return {
        **told,
        "digest": reading_digest(read.digests, options, read.layouts),
        "told": _told(sources, told),
        "parts": dict(sorted(parts.items())),
    }


def _told(sources: Sequence[Mapping[str, Any]], kept: Mapping[str, Any]) -> str:
    """Digest of what is taken from the manifest itself."""
    held = json.dumps([sources, kept["units"], kept["messages"]], sort_keys=True)
    return hashlib.sha256(held.encode()).hexdigest()


def earlier_reading(
    run: Path, files: Sequence[Found], options: ReadOptions, layouts: Sequence[Layout]
) -> SourcesRead | None:
    """What reading these files would give, if the run read the same ones in the same way.

    Parameters
    ----------
    run
        Folder of an earlier run; there may be none.
    files
        What is to be read, from :func:`coldsift.intake.files.gather`.
    options, layouts
        How it is to be read.

    Returns
    -------
    SourcesRead or None
        None when anything has changed, also in the run itself, or cannot be looked at.
    """
    try:
        manifest = json.loads((run / MANIFEST).read_text(encoding="utf-8"))
        kept = manifest["reading"]
        # The run first: there mostly is none, and its parts are soon looked at.
        if kept["told"] != _told(manifest["sources"], kept):
            return None
        if any(digest(run / name) != sha256 for name, sha256 in kept["parts"].items()):
            return None
        digests = {found.shown: hashlib.sha256(found.read()).hexdigest() for found in files}
        if reading_digest(digests, options, layouts) != kept["digest"]:
            return None
        return _read_again(run, manifest, files, digests)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, pl.exceptions.PolarsError):
        return None


def _read_again(
    run: Path, manifest: Mapping[str, Any], files: Sequence[Found], digests: Mapping[str, str]
) -> SourcesRead:
    aside = SET_ASIDE.conform(pl.read_parquet(run / "set_aside.parquet", glob=False))
    by_path = {found.shown: found for found in files}
    sources = []
    for held in manifest["sources"]:
        record = SourceRecord(**{**held, "messages": _messages(held["messages"])})
        file = by_path.get(record.path) or by_path[record.path.split("!")[0]]
        sources.append(ReadSource(file, record, aside.filter(source=record.id).select(ASIDE.names()), None))
    numbers = {source.record.id: number for number, source in enumerate(sources)}
    names = pl.DataFrame(
        {"number": numbers.values(), "order": numbers.values(), "source": numbers.keys()},
        schema={"number": pl.Int64, "order": pl.Int64, "source": pl.String},
    )
    parts = [run / name for name in manifest["reading"]["parts"] if name.startswith(COMMON_LOG.name)]
    within = {
        container: batch
        for batch, path in enumerate(parts)
        for container in pl.read_parquet(path, columns=["container"], glob=False)["container"].unique()
    }
    units = [
        (container, within[container], numbers[source], readings)
        for source, held in manifest["reading"]["units"].items()
        for container, readings in held.items()
    ]
    return SourcesRead(
        sources=tuple(sources),
        messages=_messages(manifest["reading"]["messages"]),
        units=pl.DataFrame(
            units,
            schema={
                "container": pl.String,
                "batch": pl.Int64,
                "order": pl.Int64,
                "readings": pl.get_index_type(),
            },
            orient="row",
        ),
        rows=tuple(FromRun(path, numbers) for path in parts),
        names=tuple(names for _ in parts),
        digests=digests,
    )


def _messages(held: Iterable[Mapping[str, Any]]) -> tuple[Message, ...]:
    return tuple(Message(**message) for message in held)
