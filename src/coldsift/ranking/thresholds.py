"""The chances of a fault from which a unit is looked at or watched: a file with its costs and its origin."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

SHIPPED = Path(__file__).with_name("thresholds.toml")

COST_WORDS: Mapping[str, str] = {
    "effort_this_round": "a look on this round: the way there and back, the display, the first check",
    "effort_watch": "glances at the display on the rounds until the next chance",
    "loss_this_round": "a fault found on this round: the hours that the cargo has had already",
    "loss_watch": "a fault in a watched unit: found a day or two later, the harm grown",
    "loss_nothing_found": "a fault where nothing was found: it shows by an alarm or by the cargo",
}
"""What each cost stands for."""

PROVENANCE_KINDS: Mapping[str, tuple[type, ...]] = {
    "chosen_by": (str,),
    "data": (str,),
    "seeds": (int,),
    "runs": (str,),
    "units": (int,),
    "faults": (int,),
    "healthy_weight": (int, float),
    "labels_sha256": (str,),
    "likelihoods_sha256": (str,),
    "coldsift": (str,),
}
LISTS = ("seeds", "runs")
"""What ``[provenance]`` may hold, and which keys hold several."""

HEADING = """\
# The chances of a fault, 0 to 1, from which a unit belongs to this round and to the watched ones, and why.
# Change the costs and choose anew: `make thresholds` on simulated fleets, `coldsift tune` on your own labels.
# A file of your own, given with `coldsift screen --thresholds FILE`, needs [thresholds] only; where you set
# them by hand, leave [costs] and [provenance] out.
"""


class ThresholdsError(ValueError):
    """A thresholds file cannot be used; says where, what, and what to do."""


@dataclass(frozen=True, slots=True)
class Costs:
    """What each group costs, in minutes of one technician. Common practice, no source.

    Cost of a unit = effort of its group + (has a fault) × loss of that group. A fault too mild to matter
    counts in proportion to its severity where that is known, as in a simulated fleet, and whole otherwise.
    The repair itself is left out, for it costs the same in every group; ``go_now`` is a look like that of
    this round, for the hours to the limit, not the chance, tell the two apart.

    Attributes
    ----------
    effort_this_round, effort_watch
        Of a look, and of watching; leaving a unit alone is free. [min]
    loss_this_round, loss_watch, loss_nothing_found
        Of a real fault that is left in that group until the next chance to act. [min]

    Raises
    ------
    ThresholdsError
        When one is negative, or they are out of order.
    """

    effort_this_round: float
    effort_watch: float
    loss_this_round: float
    loss_watch: float
    loss_nothing_found: float

    def __post_init__(self) -> None:
        for name, value in asdict(self).items():
            if not (math.isfinite(value) and value >= 0):
                raise ThresholdsError(f"costs.{name} = {value:g}: minutes are needed, 0 or more.")
        for less, more in (
            ("effort_watch", "effort_this_round"),
            ("loss_this_round", "loss_watch"),
            ("loss_watch", "loss_nothing_found"),
        ):
            if getattr(self, less) > getattr(self, more):
                raise ThresholdsError(
                    f"costs.{less} = {getattr(self, less):g} is above {more} = {getattr(self, more):g}: "
                    "watching costs no more than a look, and a fault costs more the later it is found."
                )


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where thresholds come from.

    Attributes
    ----------
    chosen_by, data
        What chose them, and on what, in words.
    seeds, runs
        Of the simulated fleets, or names of the runs whose units are labelled.
    units, faults
        Number of units, and of those with a fault.
    healthy_weight
        How often each healthy unit counts, so that faults are as rare as aboard.
    labels_sha256
        Of the labels file.
    likelihoods_sha256
        Of the causes' likelihoods that gave the chances.
    coldsift
        Version.
    """

    chosen_by: str = "by hand"
    data: str = ""
    seeds: tuple[int, ...] = ()
    runs: tuple[str, ...] = ()
    units: int = 0
    faults: int = 0
    healthy_weight: float = 1.0
    labels_sha256: str = ""
    likelihoods_sha256: str = ""
    coldsift: str = ""

    def in_words(self) -> str:
        """For the manifest and the report."""
        told = [
            self.chosen_by,
            self.data,
            f"seeds {_listed(self.seeds)}" if self.seeds else "",
            f"runs {', '.join(self.runs)}" if self.runs else "",
            f"{self.units} units, {self.faults} with a fault" if self.units else "",
            f"each healthy one counted {self.healthy_weight:g} times" if self.healthy_weight != 1 else "",
            f"labels SHA-256 {self.labels_sha256}" if self.labels_sha256 else "",
            f"coldsift {self.coldsift}" if self.coldsift else "",
        ]
        return "; ".join(filter(None, told))


def _listed(seeds: tuple[int, ...]) -> str:
    """For example: 201 to 224; or each of them where some are left out."""
    first, last = seeds[0], seeds[-1]
    if len(seeds) > 2 and seeds == tuple(range(first, last + 1)):
        return f"{first} to {last}"
    return ", ".join(map(str, seeds))


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Chances of a fault from which a unit belongs to a group.

    Attributes
    ----------
    this_round, watch
        0 to 1; ``watch`` is not above ``this_round``.
    costs
        Behind the choice; None when set by hand.
    provenance
        Where they come from.

    Raises
    ------
    ThresholdsError
        When one is no chance, or they are out of order.
    """

    this_round: float
    watch: float
    costs: Costs | None = None
    provenance: Provenance = Provenance()

    def __post_init__(self) -> None:
        for name in ("this_round", "watch"):
            value = getattr(self, name)
            if not 0 <= value <= 1:
                raise ThresholdsError(f"thresholds.{name} = {value:g}: a chance from 0 to 1 is needed.")
        if self.watch > self.this_round:
            raise ThresholdsError(
                f"thresholds.watch = {self.watch:g} is above this_round = {self.this_round:g}: "
                "a unit worth a look is worth watching too."
            )


def load_thresholds(path: Path | None = None) -> Thresholds:
    """Read thresholds.

    Parameters
    ----------
    path
        A TOML file with ``[thresholds]``, and ``[costs]`` and ``[provenance]`` where they were chosen; None
        for the shipped one.

    Returns
    -------
    Thresholds
        Checked.

    Raises
    ------
    ThresholdsError
        When the file cannot be read, a key is unknown or missing, or a value is wrong.
    """
    path = path or SHIPPED
    read = _tables(path)
    if "thresholds" not in read:
        raise ThresholdsError(f"{path.name}: [thresholds] is missing. Give it this_round and watch.")
    chances = _numbers(path, "thresholds", read["thresholds"], ("this_round", "watch"))
    costs = _costs(path, read["costs"]) if "costs" in read else None
    provenance = _provenance(path, read.get("provenance", {}))
    try:
        return Thresholds(**chances, costs=costs, provenance=provenance)
    except ThresholdsError as error:
        raise ThresholdsError(f"{path.name}, {error} Correct it there.") from None


def load_costs(path: Path) -> Costs:
    """Read the ``[costs]`` of a file, which may be an edited copy of a thresholds file.

    Raises
    ------
    ThresholdsError
        As :func:`load_thresholds`.
    """
    read = _tables(path)
    if "costs" not in read:
        raise ThresholdsError(f"{path.name}: [costs] is missing. Give it {', '.join(COST_WORDS)}.")
    return _costs(path, read["costs"])


def to_toml(thresholds: Thresholds) -> str:
    """The text of a thresholds file that :func:`load_thresholds` reads back unchanged."""
    lines = [
        HEADING,
        "[thresholds]",
        f"this_round = {_value(thresholds.this_round)}",
        f"watch = {_value(thresholds.watch)}",
    ]
    if thresholds.costs:
        lines += [
            "",
            "# Minutes of one technician. Set by judgement: common practice, no source. Cost of a unit =",
            "# effort of its group + (has a fault) × loss of that group until the next chance to act.",
            "[costs]",
        ]
        for name, words in COST_WORDS.items():
            lines += [
                f"# {words[0].upper()}{words[1:]}.",
                f"{name} = {_value(getattr(thresholds.costs, name))}",
            ]
    lines += ["", "[provenance]"]
    stated = thresholds.provenance
    lines += [
        f"{each.name} = {_value(getattr(stated, each.name))}"
        for each in fields(stated)
        if getattr(stated, each.name) not in ("", ())
    ]
    return "\n".join(lines) + "\n"


def _value(value: str | float | tuple[int | str, ...]) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_value(each) for each in value)}]"
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for the one control character that JSON leaves as it is. A file name
        # that is no Unicode is written with question marks.
        tidy = value.encode("utf-8", "replace").decode("utf-8")
        return json.dumps(tidy, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(int(value) if value == int(value) else value)


def _tables(path: Path) -> dict[str, Any]:
    try:
        read = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ThresholdsError(f"{path}: {error.strerror}. Name a file that can be read.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise ThresholdsError(f"{path.name} is not valid TOML: {error}. Correct it there.") from error
    _refuse_unknown(path, "", read, ("thresholds", "costs", "provenance"))
    for name, table in read.items():
        if not isinstance(table, dict):
            raise ThresholdsError(f"{path.name}: {name} = {table!r}; write [{name}] and its keys under it.")
    return read


def _refuse_unknown(path: Path, table: str, read: Mapping[str, Any], known: tuple[str, ...]) -> None:
    unknown = sorted(set(read) - set(known))
    if unknown:
        where = f", {table}" if table else ""
        raise ThresholdsError(
            f"{path.name}{where}: unknown key {', '.join(unknown)}. There are: {', '.join(known)}. "
            "Correct it or take it out."
        )


def _numbers(path: Path, table: str, read: Mapping[str, Any], keys: tuple[str, ...]) -> dict[str, float]:
    _refuse_unknown(path, table, read, keys)
    for key in keys:
        if key not in read:
            raise ThresholdsError(f"{path.name}: {table}.{key} is missing. Add it under [{table}].")
        if isinstance(read[key], bool) or not isinstance(read[key], int | float):
            raise ThresholdsError(f"{path.name}: {table}.{key} = {read[key]!r} is no number. Write one.")
    return {key: float(read[key]) for key in keys}


def _costs(path: Path, read: Mapping[str, Any]) -> Costs:
    try:
        return Costs(**_numbers(path, "costs", read, tuple(COST_WORDS)))
    except ThresholdsError as error:
        told = str(error)
        raise ThresholdsError(
            told if told.startswith(path.name) else f"{path.name}, {told} Correct it there."
        ) from None


def _provenance(path: Path, read: Mapping[str, Any]) -> Provenance:
    _refuse_unknown(path, "provenance", read, tuple(PROVENANCE_KINDS))
    for key, value in read.items():
        kind = PROVENANCE_KINDS[key]
        listed = value if isinstance(value, list) else [value]
        if isinstance(value, list) != (key in LISTS) or any(type(each) not in kind for each in listed):
            raise ThresholdsError(
                f"{path.name}: provenance.{key} = {value!r} is of the wrong type. Correct it or take it out."
            )
    stated: dict[str, Any] = {key: tuple(value) if key in LISTS else value for key, value in read.items()}
    return Provenance(**stated)
