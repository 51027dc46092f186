"""The method in tables: every feature with its formula, and the values that no setting changes."""

from __future__ import annotations

from collections.abc import Mapping

from coldsift.excursions.readings import AFTER_DEFROST_HOURS
from coldsift.features import BASES, FEATURES, RECENT_HOURS, View
from coldsift.features.catalogue import SETTLING_HOURS
from coldsift.peers.compare import WEIGHTS
from coldsift.peers.groups import AMBIENT_STEP, SMALLEST_GROUP
from coldsift.peers.robust import FEWEST_PEERS, SHRINKAGE
from coldsift.ranking.limits import TREND_HOURS
from coldsift.ranking.rank import LEAST_COVERAGE, LEAST_LOG_HOURS, SOON_HOURS
from coldsift.regimes.bands import DEEP_FROZEN_SET_POINT, FROZEN_SET_POINT
from coldsift.regimes.defrosts import COIL_ABOVE_AIR, LONGEST_DEFROST_HOURS
from coldsift.regimes.ship import SHARED_SHARE, SHARED_UNITS
from coldsift.regimes.timeline import GAP_FACTOR, RECOVERY_HOURS, SET_POINT_STEP, STALL_DROP, STALL_HOURS
from coldsift.report import words
from coldsift.report.model import FeatureRow, FeatureSection, FeatureVariant, FeatureWords, FixedValue
from coldsift.report.unit_views import ODD

PRACTICE = "common practice, no source"
JUDGEMENT = "set by judgement, no source"
READING = "reading"
DOING = "doing"
TAKEN = "features"
PEERS = "peers"
EXCURSIONS = "excursions"
RANKING = "ranking"

VARIANTS = {
    View.WHOLE: "",
    View.NOW: f"last {RECENT_HOURS:.0f} h",
    View.SHIFT: f"change, last {RECENT_HOURS:.0f} h against before",
    View.TREND: "trend by the day",
}
"""How the views of a feature are told apart."""

EXPLAINED_BY = {
    "lift": "ambient minus set point",
    "lift_shift": "the change of ambient minus set point",
    "ambient": "ambient air",
    "ambient_shift": "the change of ambient air",
    "set_point": "set point",
    "set_point_shift": "the change of set point",
}
"""What a feature is freed of before units are compared."""


def feature_sections(feature_words: Mapping[str, FeatureWords]) -> tuple[FeatureSection, ...]:
    """Every feature with its views, by what the unit does while they are taken.

    Parameters
    ----------
    feature_words
        Words by feature id, in the order of the catalogue.
    """
    variants: dict[str, list[FeatureVariant]] = {}
    for name, told in feature_words.items():
        base = BASES.get(name, name)
        variants.setdefault(base if base in feature_words else name, []).append(_variant(name, told))
    sections: dict[str, list[FeatureRow]] = {}
    for base, of_it in variants.items():
        told = feature_words[base]
        sections.setdefault(told.regime, []).append(FeatureRow(told, tuple(of_it)))
    return tuple(FeatureSection(words.plain(taken_in), tuple(rows)) for taken_in, rows in sections.items())


def _variant(name: str, told: FeatureWords) -> FeatureVariant:
    known = FEATURES.get(name)
    return FeatureVariant(
        name,
        VARIANTS[known.view] if known else "",
        told.unit,
        EXPLAINED_BY.get(known.against or "", "") if known else "",
    )


def fixed_values() -> tuple[FixedValue, ...]:
    """The values that every screening rests on, taken from where they are used."""
    number = words.number
    hours = {name: number(value, 0, "h") for name, value in RECOVERY_HOURS.items()}
    return (
        FixedValue(
            READING,
            "A step between readings is a gap from",
            f"{GAP_FACTOR:g} times the unit’s usual log interval",
            JUDGEMENT,
        ),
        FixedValue(
            READING,
            "A log is too short or too thin to judge below",
            f"{number(LEAST_LOG_HOURS, 0, 'h')}, or {number(100 * LEAST_COVERAGE, 0, '%')} of the voyage",
            JUDGEMENT,
        ),
        FixedValue(
            DOING,
            "Frozen, controlled on return air, at set points up to",
            number(FROZEN_SET_POINT, 1, "°C"),
            PRACTICE,
        ),
        FixedValue(
            DOING,
            "Deep frozen at set points up to",
            number(DEEP_FROZEN_SET_POINT, 1, "°C"),
            "Directive 89/108/EEC: −18 °C; less than a step of a set point above it",
        ),
        FixedValue(DOING, "A change of set point counts from", number(SET_POINT_STEP, 1, "K"), JUDGEMENT),
        FixedValue(
            DOING,
            "A unit is called recovering for at most",
            f"{hours['defrost']} after a defrost, {hours['power']} after power returned, "
            f"{hours['set_point']} after a new set point",
            JUDGEMENT,
        ),
        FixedValue(
            DOING,
            "The first pull-down has ended when the air falls by less than",
            f"{number(STALL_DROP, 1, 'K')} in {number(STALL_HOURS, 0, 'h')}",
            JUDGEMENT,
        ),
        FixedValue(
            DOING,
            "A defrost that is not logged is seen by a coil above the return air by",
            f"{number(COIL_ABOVE_AIR, 0, 'K')}, for at most {number(LONGEST_DEFROST_HOURS, 0, 'h')}",
            PRACTICE,
        ),
        FixedValue(
            DOING,
            "A power cut or gap belongs to the whole ship from",
            f"{number(100 * SHARED_SHARE, 0, '%')} of the units logged then, and {SHARED_UNITS} units",
            JUDGEMENT,
        ),
        FixedValue(TAKEN, "Now is the log’s last", number(RECENT_HOURS, 0, "h"), JUDGEMENT),
        FixedValue(
            TAKEN,
            "Left out of a unit’s own past, while the cargo settles",
            f"its first {number(SETTLING_HOURS, 0, 'h')}",
            JUDGEMENT,
        ),
        FixedValue(PEERS, "A group falls back to a wider one below", f"{SMALLEST_GROUP} units", JUDGEMENT),
        FixedValue(
            PEERS, "Units are alike in ambient within steps of", number(AMBIENT_STEP, 0, "K"), JUDGEMENT
        ),
        FixedValue(
            PEERS,
            "A group’s own spread weighs as its number of units, the fleet’s as",
            number(SHRINKAGE, 0),
            JUDGEMENT,
        ),
        FixedValue(
            PEERS,
            "The usual range of good units is taken instead with fewer peers than",
            number(FEWEST_PEERS, 0),
            JUDGEMENT,
        ),
        FixedValue(PEERS, "A feature is marked odd beyond", f"{number(ODD, 0)} spreads", JUDGEMENT),
        FixedValue(
            PEERS,
            "The three strongest reasons count",
            ", ".join(number(100 * weight, 0, "%") for weight in WEIGHTS),
            JUDGEMENT,
        ),
        FixedValue(
            EXCURSIONS,
            "Air beyond its band is a defrost’s until after it",
            number(AFTER_DEFROST_HOURS, 1, "h"),
            PRACTICE,
        ),
        FixedValue(
            RANKING,
            "The time to the limit goes by the trend of the last",
            number(TREND_HOURS, 0, "h"),
            JUDGEMENT,
        ),
        FixedValue(RANKING, "Half as urgent when the limit is away by", number(SOON_HOURS, 0, "h"), PRACTICE),
    )
