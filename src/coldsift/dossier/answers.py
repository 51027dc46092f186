"""The first page: five questions, five answers, and how sure each is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from coldsift.causes import HEALTHY
from coldsift.dossier.events import OTHER_SET_POINT
from coldsift.dossier.model import Answer, CauseNote, Sensitivity, TreatmentNote
from coldsift.dossier.untold import TELLING, not_logged
from coldsift.regimes.timeline import GAP_FACTOR
from coldsift.report.words import chance, duration, moment, number, percent

BEFORE_HOURS = 3.0
"""A loss of supply that ended this soon before the air left its band is named with it. [h]"""

SHIP_SHARE = 0.5
"""From this share of the peers outside their band on, the ship had it; below :data:`BOX_SHARE`, the box."""
BOX_SHARE = 0.1

LIKELY_PROBE = 0.5
"""From this doubt on, the answer says first that the probe may have erred."""

FINE = 20.0
"""Hours and degree-hours below this are told to a tenth."""

TREATMENT_VERDICTS = {
    "complete": "complete",
    "not_complete": "not complete",
    "cannot_judge": "cannot be judged",
}

QUESTIONS = (
    "What happened, and when?",
    "How far, and for how long?",
    "Why, most likely?",
    "In whose custody?",
    "What can the log not tell?",
)


@dataclass(frozen=True, slots=True)
class Findings:
    """What the answers rest on: one container's tables (:mod:`coldsift.schema`) and notes."""

    timeline: pl.DataFrame
    excursions: pl.DataFrame
    excursion_parts: pl.DataFrame
    gaps: pl.DataFrame
    cargo: pl.DataFrame
    cargo_temperatures: pl.DataFrame
    peers: pl.DataFrame
    custody: pl.DataFrame
    set_points: pl.DataFrame
    causes: tuple[CauseNote, ...]
    sensitivity: tuple[Sensitivity, ...]
    treatment: TreatmentNote | None
    cannot_tell: tuple[str, ...]


def main_excursion(excursions: pl.DataFrame) -> dict[str, Any] | None:
    """The excursion that a reader asks about: the largest area that the probe is believed for.

    Those of the first pull-down and after a set-point change count only where there is no other.
    """
    if excursions.is_empty():
        return None
    own = pl.col("kind").is_in(["excursion", "possible_excursion"])
    ranked = excursions.with_columns(
        own=own, weight=pl.col("degree_hours") * (1 - pl.col("sensor_doubt").fill_null(0.0))
    ).sort("own", "weight", "start", descending=[True, True, False])
    return ranked.drop("own", "weight").row(0, named=True)


def answers(found: Findings) -> tuple[Answer, ...]:
    """Answer the five questions.

    Parameters
    ----------
    found
        Everything reckoned of the container in the window.

    Returns
    -------
    tuple of Answer
        One for each of :data:`QUESTIONS`.
    """
    main = main_excursion(found.excursions)
    if main is None:
        told = _nothing_found(found)
    else:
        told = (
            _what(found, main),
            _how_far(found, main),
            _why(found, main),
            _custody(found, main),
        )
    last = (" ".join(found.cannot_tell[:3]), "Everything the log cannot tell stands in its own section.")
    return tuple(
        Answer(question, answer, sure)
        for question, (answer, sure) in zip(QUESTIONS, (*told, last), strict=True)
    )


Pair = tuple[str, str]


def _nothing_found(found: Findings) -> tuple[Pair, Pair, Pair, Pair]:
    air = found.timeline["controlling_air"].drop_nulls()
    order = _another_order(found.set_points)
    silent = len(air) < 2 or found.timeline["band_high"].count() == 0
    if air.is_empty():
        first = ("Nothing can be said: no supply or return air was logged in this window.", "")
    elif found.timeline["band_high"].count() == 0:
        first = (
            "Nothing can be said: no set point was logged, so there is no band to hold the air against.",
            "",
        )
    elif len(air) < 2:
        first = ("Nothing can be said: there is a single reading in this window.", "")
    else:
        first = (
            "The log shows no excursion in this window: the controlling air stayed within its band, or was "
            "outside it for no longer than the grace time."
            + (f" But the band lies about the set point: {order}" if order else ""),
            _gap_words(found.gaps, "That does not hold for the gaps"),
        )
    low, high = (number(value, 1, "°C") for value in (air.min(), air.max()))  # type: ignore[arg-type]
    lay = f"The controlling air lay between {low} and {high}." if len(air) else ""
    told = " ".join(filter(None, (lay, _cargo(found), _treatment(found.treatment))))
    custody = _custody_of_order(found)
    return (
        first,
        (told or "–", "Defrosts included." if lay else ""),
        ("Cannot be said." if silent else "No excursion, so no cause of one.", _leading(found.causes)),
        (
            "Cannot be said."
            if silent
            else f"No excursion{custody}."
            if custody
            else "No excursion, so no custody to name.",
            "Who had it is as the events file says." if custody and not silent else "",
        ),
    )


def _custody_of_order(found: Findings) -> str:
    """With whom the set point was another than ordered."""
    stretches = found.set_points.filter(pl.col("kind").is_in(OTHER_SET_POINT)).drop_nulls("start")
    held = (
        found.custody.join(stretches, how="cross", suffix="_order")
        .filter(
            pl.col("end").is_null() | (pl.col("end") > pl.col("start_order")),
            pl.col("end_order").is_null() | (pl.col("start") < pl.col("end_order")),
        )
        .sort("start")["holder"]
        .unique(maintain_order=True)
    )
    return f"; the set point was not as ordered with {', then '.join(held)}" if len(held) else ""


def _gap_words(gaps: pl.DataFrame, begin: str) -> str:
    if gaps.is_empty():
        return "The log has no gap here."
    hours = duration(float(gaps["hours"].sum()))
    count = "one gap" if gaps.height == 1 else f"{gaps.height} gaps"
    return f"{begin}: {count}, {hours} together."


def _what(found: Findings, main: Mapping[str, Any]) -> Pair:
    rose = main["peak"] >= main["band_edge"]
    air = _air_name(found.timeline, main)
    edge = number(main["band_edge"], 1, "°C")
    verb = "rose above" if rose else "fell below"
    if main["start"] == main["start_latest"]:
        verb = "was seen above" if rose else "was seen below"
    kind = {
        "initial_warm_load": " This was the first pull-down after loading, not a loss of temperature held "
        "before.",
        "after_set_point_change": " This was the way to a new set point.",
        "possible_excursion": " It was seen for less than the grace time; a gap leaves open whether it was "
        "longer.",
    }.get(main["kind"], "")
    if main["end_latest"] is None:
        until = f"and had not come back when the readings end, {moment(main['end'])} UTC."
    else:
        until = f"and was back within it at {moment(main['end'])} UTC."
        if main["end"] == main["end_earliest"]:
            until = (
                f"and last so at {moment(main['end'])} UTC; by {moment(main['end_latest'])} UTC it was back."
            )
    first = (
        "It is likelier that the probe erred than that the air was there. "
        if (main["sensor_doubt"] or 0.0) >= LIKELY_PROBE
        else ""
    )
    together = _all_together(found.excursions)
    answer = (
        f"{first}The {air} {verb} its band at {edge} at {moment(main['start'])} UTC {until}{kind}{together}"
    )
    return answer, f"{_edges(main)} {_doubt(main)}"


def _all_together(excursions: pl.DataFrame) -> str:
    """How much all stretches come to, of which the answer tells the largest."""
    if excursions.height < 2:
        return ""
    hours, area = excursions.select(pl.col("hours").sum(), pl.col("degree_hours").sum()).row(0)
    return (
        f" It is the largest of {excursions.height} stretches outside the band, together "
        f"{number(hours, 1, 'h')} and {number(area, 0, 'K h')} beyond the edge."
    )


def _air_name(timeline: pl.DataFrame, main: Mapping[str, Any]) -> str:
    inside = timeline.filter(pl.col("time").is_between(main["start"], main["end"]))
    supply, back = inside.select(
        (pl.col("controlling_air") == pl.col(air)).fill_null(False).mean().alias(air)
        for air in ("supply_air", "return_air")
    ).row(0)
    # Where both read the same, the one that a chilled unit is controlled on.
    return "return air" if (back or 0.0) > (supply or 0.0) else "supply air"


def _edges(main: Mapping[str, Any]) -> str:
    start = (
        f"The start lies between {moment(main['start_earliest'])} and {moment(main['start_latest'])}"
        if main["start_earliest"]
        else "The log begins outside the band, so the start is not known"
    )
    end = (
        f"the end between {moment(main['end_earliest'])} and {moment(main['end_latest'])}"
        if main["end_latest"]
        else "the end is not known"
    )
    return f"{start}; {end}."


def _doubt(main: Mapping[str, Any]) -> str:
    doubt = main["sensor_doubt"]
    if doubt is None:
        return "Whether air or probe was not judged."
    return f"That the probe erred and not the air is {chance(doubt)}: {main['sensor_doubt_why']}."


def _how_far(found: Findings, main: Mapping[str, Any]) -> Pair:
    beyond = abs(main["peak"] - main["band_edge"])

    def bounds(name: str, unit: str) -> str:
        least, most = main[f"{name}_at_least"], main[f"{name}_at_most"]
        digits = 0 if main[name] >= FINE else 1
        told = number(main[name], digits, unit)
        return (
            told if None in (least, most) else f"{told} ({number(least, digits)} to {number(most, digits)})"
        )

    air = (
        f"To {number(main['peak'], 1, '°C')}, {number(beyond, 1, 'K')} beyond the edge; outside for "
        f"{bounds('hours', 'h')}, with {bounds('degree_hours', 'K h')} beyond the edge; mean kinetic "
        f"temperature {number(main['mean_kinetic_temperature'], 1, '°C')}. In brackets at least and at most, "
        "gaps and the error of reading allowed for."
    )
    cold = main["peak"] < main["band_edge"]
    cargo = _cold_cargo(found) if cold else _cargo(found)
    told = " ".join(filter(None, (air, cargo, _treatment(found.treatment))))
    return told, _sensitive(found.sensitivity)


def _treatment(treatment: TreatmentNote | None) -> str:
    if treatment is None:
        return ""
    verdict = TREATMENT_VERDICTS[treatment.verdict]
    return f"Cold treatment by {treatment.name}: {verdict}. Only the authority decides."


def _cargo(found: Findings) -> str:
    """What the reckoning says of the cargo in the window."""
    if found.cargo_temperatures["core"].count() == 0 or found.cargo.is_empty():
        return ""
    cargo, line = found.cargo.row(0, named=True), found.cargo_temperatures
    warmest = line.sort("core", "time", descending=[True, False], nulls_last=True).row(0, named=True)
    text = (
        f"Cargo ({cargo['cargo']}): core reckoned at {number(warmest['core'], 1, '°C')} at its warmest "
        f"({number(warmest['core_low'], 1)} to {number(warmest['core_high'], 1, '°C')}), "
        f"{moment(warmest['time'])} UTC"
    )
    limit = cargo["limit_high"]
    if limit is None:
        return f"{text}."
    step = (pl.col("time").shift(-1) - pl.col("time")).dt.total_seconds() / 3600
    above = line.with_columns(step=step).with_columns(
        seen=pl.col("step") <= GAP_FACTOR * pl.col("step").median()
    )
    above = above.filter(pl.col("surface") > limit)
    if above.is_empty():
        return f"{text}; outer cargo never reckoned above its limit of {number(limit, 1, '°C')}."
    hours = above.select(pl.col("step").filter("seen").sum()).item()
    gaps = "" if above["seen"].drop_nulls().all() else " (gaps taken out)"
    return (
        f"{text}; outer cargo above its limit of {number(limit, 1, '°C')} for {duration(hours)}{gaps}, first "
        f"at {moment(above['time'][0])} UTC."
    )


def _cold_cargo(found: Findings) -> str:
    """What the reckoning says of cargo that air below its band met."""
    if found.cargo_temperatures["surface"].count() == 0 or found.cargo.is_empty():
        return ""
    cargo = found.cargo.row(0, named=True)
    coldest = found.cargo_temperatures.sort("surface", "time", nulls_last=True).row(0, named=True)
    limit = cargo["limit_low"]
    edge = "no limit known" if limit is None else f"limit {number(limit, 1, '°C')}"
    best = number(coldest["surface"], 1, "°C")
    return (
        f"Cargo ({cargo['cargo']}): outer cargo reckoned at {best} at its coldest "
        f"({number(coldest['surface_low'], 1)} to {number(coldest['surface_high'], 1, '°C')}; {edge}), "
        f"{moment(coldest['time'])} UTC."
    )


def _sensitive(sensitivity: Sequence[Sensitivity]) -> str:
    shifted = [entry for entry in sensitivity if entry.what.startswith("probe")]
    if not shifted:
        return ""
    low, high = min(entry.hours for entry in shifted), max(entry.hours for entry in shifted)
    area_low = min(entry.degree_hours for entry in shifted)
    area_high = max(entry.degree_hours for entry in shifted)
    return (
        f"With a probe that is 0.5 K off it would be {number(low, 1)} to {number(high, 1, 'h')} and "
        f"{number(area_low, 0)} to {number(area_high, 0, 'K h')}. The cargo is reckoned from the air; the "
        "band holds nine of ten ways it can be."
    )


def _why(found: Findings, main: Mapping[str, Any]) -> Pair:
    told = (
        _another_order(found.set_points),
        _supply(found.timeline, main),
        _leading(found.causes),
        _blind(found),
    )
    return " ".join(filter(None, told)) or "The log shows no cause.", _ship_or_box(found, main)


def _another_order(set_points: pl.DataFrame) -> str:
    """That the unit was not set to what was ordered: its band then lay where nobody had ordered it."""
    told = set_points.filter(pl.col("kind").is_in(OTHER_SET_POINT))["words"]
    return " ".join(f"{words}." for words in told)


def _blind(found: Findings) -> str:
    """What was not logged, where no fault is named beside an excursion."""
    if found.causes and found.causes[0].id != HEALTHY:
        return ""
    missing = not_logged(found.timeline, TELLING)
    if not missing:
        return ""
    return f"Most faults would not show in it: not logged are {', '.join(missing)}."


def _supply(timeline: pl.DataFrame, main: Mapping[str, Any]) -> str:
    window = timeline.filter(
        pl.col("time").is_between(main["start"] - timedelta(hours=BEFORE_HOURS), main["end"]),
        ~pl.col("powered"),
    )
    if window.is_empty():
        return ""
    hours = duration(float(window["hours"].sum()))
    whose = "on the whole ship" if window["shared"].any() else "at this unit"
    since = moment(window["time"][0])
    return f"The supply was off {whose} for {hours} in it or shortly before, from {since} UTC."


def _leading(causes: Sequence[CauseNote]) -> str:
    if not causes:
        return ""
    first = causes[0]
    if first.id == HEALTHY:
        return f"The log does not tell of a fault of the unit (chance of one {percent(1 - first.chance)})."
    evidence = f": {first.evidence_for[0]}" if first.evidence_for else ""
    return f"Likeliest of the causes weighed: {first.name}, {percent(first.chance)}{evidence}."


def _ship_or_box(found: Findings, main: Mapping[str, Any]) -> str:
    then = found.peers.filter(
        pl.col("time") >= main["start"] - timedelta(hours=1), pl.col("time") <= main["end"]
    )
    if then.is_empty():
        return "No other units of this voyage were there to compare with."
    share = float(then["outside"].sum()) / float(then["units"].sum())
    most = then.select(pl.col("units").max()).item()
    told = (
        f"{'One like unit' if most == 1 else f'Up to {most} like units'} had readings at the same hours, "
        f"outside the band for {percent(share)} of them"
    )
    if share >= SHIP_SHARE:
        return f"{told}: this speaks for a cause that the ship shared."
    if share <= BOX_SHARE:
        return f"{told}: this speaks for the box, not the ship."
    return f"{told}: some others had it too."


def _custody(found: Findings, main: Mapping[str, Any]) -> Pair:
    if found.custody.is_empty():
        return "Not known: no custody events were given.", "Give them with --events to divide the excursion."
    parts = found.excursion_parts.filter(
        pl.col("division") == "custody", pl.col("excursion") == main["start"]
    ).sort("start")
    # Events may follow one another without another holder.
    held = parts.group_by("part", maintain_order=True).agg(pl.col("hours", "degree_hours").sum())
    told = [
        f"{row['part'] or 'nobody named'} {number(row['hours'], 1, 'h')} "
        f"({number(row['degree_hours'], 0, 'K h')})"
        for row in held.iter_rows(named=True)
    ]
    if not told:
        return "No custody event covers it.", ""
    began = parts["part"][0] or "a time for which nobody is named"
    return f"It began with {began}. By holder: {', '.join(told)}.", _handover(found.custody, main)


def _handover(custody: pl.DataFrame, main: Mapping[str, Any]) -> str:
    earliest: datetime | None = main["start_earliest"]
    between = custody.filter(
        pl.col("start") > (earliest or main["start"]), pl.col("start") <= main["start_latest"]
    )
    if earliest is None:
        return "The log begins outside the band: it may have begun with somebody earlier."
    if between.height:
        return (
            f"A hand-over at {moment(between['start'][0])} UTC lies within the uncertainty of the start: it "
            "may have begun before or after it."
        )
    return "No hand-over lies within the uncertainty of the start. Who had it is as the events file says."
