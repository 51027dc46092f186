"""How warm the cargo is and how long it has, reckoned from the air it felt.

Goes in: the timeline, the facts of single containers, the goods (files of commodities, rules, packagings).
Comes out: :func:`cargoes_of`, what each container carries and bears; :func:`cargo_temperatures`, the outer
cargo and its core over time with their band; :func:`cargo_outlook`, one row a container with the hours until
a limit if the unit stops now or goes on as it does, and the storage life lost; :func:`slab_profile`, the
cargo of one container reckoned a second time by a finer model.
"""

from coldsift.cargo.cargoes import Cargo, UnknownPackaging, cargoes_of
from coldsift.cargo.commodities import (
    Commodity,
    Goods,
    GoodsError,
    Packaging,
    Rule,
    UnknownCommodity,
    find_commodity,
    load_goods,
)
from coldsift.cargo.estimate import cargo_outlook, cargo_temperatures
from coldsift.cargo.notes import cargo_notes
from coldsift.cargo.profile import slab_profile

__all__ = [
    "Cargo",
    "Commodity",
    "Goods",
    "GoodsError",
    "Packaging",
    "Rule",
    "UnknownCommodity",
    "UnknownPackaging",
    "cargo_notes",
    "cargo_outlook",
    "cargo_temperatures",
    "cargoes_of",
    "find_commodity",
    "load_goods",
    "slab_profile",
]
