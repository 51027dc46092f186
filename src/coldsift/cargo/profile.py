"""A second opinion on one container: its members as slabs, in place of two stores.

Goes in: one container's timeline and cargo. Comes out: centre, face and outer quarter over time with their
band. The same members, the same air, the whole temperature profile; some hundred times the work.
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import polars as pl

from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.ensemble import BAND, quantiles
from coldsift.cargo.follow import met
from coldsift.cargo.properties import Array
from coldsift.cargo.reckon import Batch, batches
from coldsift.cargo.slab import Slab, SlabCourse, conduct
from coldsift.schema import TIME

POINTS = ("centre", "face", "outer")
"""Innermost point, outermost point, mean of the outer quarter."""


def slab_profile(timeline: pl.DataFrame, cargo: Cargo) -> pl.DataFrame:
    """Temperatures inside the stow of one container.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, of this container alone.
    cargo
        From :func:`coldsift.cargo.cargoes_of`.

    Returns
    -------
    polars.DataFrame
        ``time`` (UTC), and for ``centre``, ``face`` and ``outer`` (mean of the outer quarter, as ``surface``
        in :data:`coldsift.schema.CARGO_TEMPERATURES`) the best estimate and, with ``_low`` and ``_high``, its
        band. [°C] Empty when fewer than two readings of the air are logged.
    """
    names = [f"{point}{edge}" for point in POINTS for edge in ("", "_low", "_high")]
    for batch in batches(timeline, [cargo], keep_way=False):
        if not len(batch.course.seconds):
            break
        steps = batch.course.rows["step"].to_numpy()
        course = _conducted(batch)
        values = np.stack([getattr(course, point)[steps] for point in POINTS])
        bands = quantiles(values, (0.5, *BAND)).swapaxes(0, 1).reshape(len(names), -1)
        return batch.course.rows.select("time").with_columns(
            pl.Series(name, band).round(3) for name, band in zip(names, bands, strict=True)
        )
    return pl.DataFrame(schema={"time": TIME} | dict.fromkeys(names, pl.Float64()))


def _conducted(batch: Batch) -> SlabCourse:
    load, course, members = batch.load, batch.course, batch.load.members
    around = met(load, course, 0, len(course.seconds))
    # Each step's run is the last that began.
    biot = around.biot[np.searchsorted(around.step, np.arange(len(course.seconds)), side="right") - 1]
    slab = Slab(
        *(getattr(members.slab, each.name)[0] for each in fields(Slab) if each.name != "shape"),
    )

    def heat(temperature: Array) -> Array:
        breath = load.warming(temperature.mean(axis=1)[None])[0]
        return np.asarray((breath * slab.heat_capacity)[:, None])

    return conduct(
        slab,
        course.seconds[:, 0],
        around.air[:, 0],
        members.start_core[0],
        flow=biot / members.nodes.biot,
        heat=heat if load.breathing is not None else None,
        curve=load.curve,
        food=np.reshape(load.food, (-1, 1)),
    )
