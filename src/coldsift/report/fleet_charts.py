"""The data of the fleet's charts: whole numbers in base64, unit by unit in the order of the list."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.features import FEATURES, Worry
from coldsift.intake.times import FAR
from coldsift.report.embedded import script_safe
from coldsift.report.material import Material
from coldsift.report.model import Row
from coldsift.report.unit_views import ODD

TYPES = ("u1", "i1", "u2", "i2", "i4")
"""Whole numbers of one to four bytes, the smallest first; each keeps one value for "none"."""

DAY_DIGITS: Mapping[str, int] = {
    "coverage": 3,
    "hours_off": 1,
    "hours_outside": 1,
    "degree_hours": 1,
    "defrosts": 0,
    "longest_defrost": 0,
    "unterminated_defrosts": 0,
    "air_low": 1,
    "air_middle": 1,
    "air_high": 1,
    "split": 2,
    "alarms": 0,
}
"""Columns of the days that are shown, with the decimals kept."""

RESOLUTION = 200
"""A dot is placed at least as finely as its feature's spread divided by this."""

MOST_DIGITS = 6

DESCRIBING = tuple(name for name, feature in FEATURES.items() if feature.worry is Worry.NONE)
"""Features that tell a unit's task or its log, and nothing bad of it."""


def packed(values: NDArray[np.float64], digits: int = 0) -> dict[str, Any]:
    """Numbers as whole multiples of a power of ten.

    Parameters
    ----------
    values
        Any length; NaN for none.
    digits
        Decimals kept.

    Returns
    -------
    dict
        ``type`` (one of :data:`TYPES`, little-endian; the highest of an unsigned and the lowest of a signed
        type means none), ``digits`` and ``data`` in base64.

    Raises
    ------
    OverflowError
        When a value does not fit four bytes.
    """
    known = np.isfinite(values)
    whole = np.round(np.where(known, values, 0) * 10.0**digits)
    low, high = (whole.min(), whole.max()) if whole.size else (0, 0)
    for kind in TYPES:
        limits = np.iinfo(kind)
        unsigned = limits.min == 0
        if limits.min + (not unsigned) <= low and high <= limits.max - unsigned:
            stored = np.where(known, whole, limits.max if unsigned else limits.min).astype(f"<{kind}")
            return {"type": kind, "digits": digits, "data": base64.b64encode(stored.tobytes()).decode()}
    message = f"{low} to {high} does not fit four bytes"
    raise OverflowError(message)


def fleet_data(material: Material, rows: Sequence[Row], peer_groups: Sequence[str]) -> str:
    """Everything that the fleet's charts draw, as JSON for a script element.

    Parameters
    ----------
    material
        Everything the report is made from.
    rows
        The units in the order of the list; names and links stand in the page, not in the data.
    peer_groups
        Names of the peer groups in use, in their order on the page.
    """
    containers = [row.container for row in rows]
    units = pl.DataFrame({"container": containers}, schema={"container": pl.String}).with_row_index("unit")
    days = _of_the_voyage(units.join(material.unit_days, on="container"))
    first, count = _span(days)
    return script_safe(
        {
            "units": len(rows),
            "odd": ODD,
            "jitter": packed(np.array([zlib.crc32(name.encode()) % 255 for name in containers], dtype=float)),
            "peerGroups": packed(_peer_group(units, material.peer_groups, peer_groups)),
            "days": {
                "first": first.isoformat(),
                "count": count,
                "columns": _days(days, len(rows), first, count),
            },
            "features": list(_features(units, material, peer_groups)),
            "defrosts": _defrosts(units, material.defrosts, first),
        }
    )


def _of_the_voyage(days: pl.DataFrame) -> pl.DataFrame:
    """The days within a year of the middle one: a clock that is years off stretches no chart."""
    read = days.filter(pl.col("hours_off").is_not_null())["day"].sort()
    if read.is_empty():
        return days
    middle = read[len(read) // 2]
    return days.filter(pl.col("day").is_between(middle - FAR, middle + FAR))


def _span(days: pl.DataFrame) -> tuple[date, int]:
    """First day of all, and how many there are up to the last."""
    if days.is_empty():
        return date(1970, 1, 1), 0
    first, last = days.select(pl.col("day").min().alias("first"), pl.col("day").max().alias("last")).row(0)
    return first, (last - first) // timedelta(days=1) + 1


def _peer_group(units: pl.DataFrame, groups: pl.DataFrame, names: Sequence[str]) -> NDArray[np.float64]:
    """Place of each unit's peer group among the names."""
    places = {name: float(place) for place, name in enumerate(names)}
    own = units.join(groups.select("container", "peer_group"), on="container", how="left").sort("unit")
    return np.array([places.get(name, np.nan) for name in own["peer_group"]], dtype=float)


def _days(days: pl.DataFrame, units: int, first: date, count: int) -> dict[str, Any]:
    """Each column as a table of units × days, unit by unit; none on days without readings."""
    read = days.filter(pl.col("hours_off").is_not_null() & (pl.col("coverage").fill_null(1.0) > 0))
    unit = read["unit"].to_numpy()
    day = (read["day"] - first).dt.total_days().to_numpy()
    columns = {}
    for name, digits in DAY_DIGITS.items():
        table = np.full((units, count), np.nan)
        table[unit, day] = read[name].cast(pl.Float64).to_numpy()
        columns[name] = packed(table.ravel(), digits)
    return columns


def _features(units: pl.DataFrame, material: Material, peer_groups: Sequence[str]) -> list[dict[str, Any]]:
    """Every feature that some unit has: those that can worry first, with most odd units first of these."""
    known = (
        units.join(material.features, on="container")
        .filter(pl.col("value").is_not_null(), pl.col("feature").is_in(list(material.feature_words)))
        .join(material.peer_groups.select("container", "peer_group"), on="container", how="left")
        .sort("feature", "unit")
    )
    away = pl.col("z").abs()
    order = (
        known.group_by("feature")
        .agg(odd=(away > ODD).sum(), reach=away.max().fill_null(0.0))
        .with_columns(describes=pl.col("feature").is_in(DESCRIBING))
        .sort("describes", "odd", "reach", "feature", descending=[False, True, True, False])
    )
    ranges: dict[str, dict[str, list[float]]] = {}
    for name, group, *edges in (
        known.drop_nulls(["peer_group", "peer_median"])
        .unique(["feature", "peer_group"], keep="first", maintain_order=True)
        .select("feature", "peer_group", "peer_low", "peer_median", "peer_high")
        .iter_rows()
    ):
        ranges.setdefault(name, {})[group] = [round(edge, MOST_DIGITS) for edge in edges]
    # Looked up in arrays: a frame for each of some hundred features takes longer than all the rest.
    unit, value, distance = (known[name].to_numpy() for name in ("unit", "value", "z"))
    names = known["feature"].rle().struct.unnest()
    ends = names["len"].cum_sum().to_list()
    rows = {
        name: slice(first, end) for name, first, end in zip(names["value"], [0, *ends], ends, strict=False)
    }
    return [
        {
            "id": name,
            "odd": odd,
            **_feature(unit[rows[name]], value[rows[name]], distance[rows[name]], units.height),
            "ranges": [ranges.get(name, {}).get(group) for group in peer_groups],
        }
        for name, odd in order.select("feature", "odd").iter_rows()
    ]


def _feature(
    unit: NDArray[np.uint32], value: NDArray[np.float64], distance: NDArray[np.float64], units: int
) -> dict[str, Any]:
    values, distances = np.full(units, np.nan), np.full(units, np.nan)
    values[unit], distances[unit] = value, distance
    return {"values": packed(values, _digits(values)), "distances": packed(distances, 1)}


def _digits(values: NDArray[np.float64]) -> int:
    """Decimals that are shown of a feature's values, and more where the dots lie closer than that."""
    sizes = np.abs(values[np.isfinite(values)])
    shown = 0 if sizes.min() >= 100 else 1 if sizes.min() >= 10 else 2 if np.median(sizes) >= 0.1 else 3
    low, high = np.nanquantile(values, [0.1, 0.9])
    needed = int(np.ceil(np.log10(RESOLUTION / (high - low)))) if high > low else 0
    most = int(np.floor(np.log10(2.0**31 / sizes.max()) - 1e-9)) if sizes.max() > 0 else MOST_DIGITS
    return min(max(shown, needed), MOST_DIGITS, most)


def _defrosts(units: pl.DataFrame, defrosts: pl.DataFrame, first: date) -> dict[str, Any]:
    """How many defrosts each unit had; then, unit by unit, minutes from start to start, and their lengths.

    The first start of a unit counts from the first day. A length is negative where the defrost was not
    properly ended.
    """
    own = units.join(defrosts, on="container").sort("unit", "start")
    counts = np.bincount(own["unit"].to_numpy(), minlength=units.height).astype(float)
    minutes = pl.col("minutes").fill_null(0).clip(1)
    told = own.select(
        pl.coalesce(
            pl.col("start").diff().over("unit"),
            pl.col("start").dt.replace_time_zone(None) - pl.lit(first).cast(pl.Datetime("us")),
        )
        .dt.total_minutes()
        .alias("after"),
        pl.when(pl.col("terminated").fill_null(True)).then(minutes).otherwise(-minutes).alias("minutes"),
    ).cast(pl.Float64)
    return {
        "counts": packed(counts),
        "after": packed(told["after"].to_numpy()),
        "minutes": packed(told["minutes"].to_numpy()),
    }
