"""What is known of a unit beyond its log: cargo, packaging, contract limits, treatment ordered."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """What a facts file says of one unit; None where it says nothing.

    Attributes
    ----------
    cargo
        Commodity as named: an id or a name of the commodities file.
    packaging
        Id of a packaging of the commodities file.
    cargo_mass
        Net mass of the cargo. [kg]
    limit_low, limit_high
        Coldest and warmest cargo temperature that the contract allows. [°C]
    band_below, band_above
        Distance of the controlling air from its set point that the contract allows. [K]
    heat_leak
        Heat leak of the box, from its certificate. [W/K]
    protocol
        Id of the cold-treatment protocol that is ordered.
    probes
        Channels that hold the treatment's probes; every logged cargo probe without it.
    """

    cargo: str | None = None
    packaging: str | None = None
    cargo_mass: float | None = None
    limit_low: float | None = None
    limit_high: float | None = None
    band_below: float | None = None
    band_above: float | None = None
    heat_leak: float | None = None
    protocol: str | None = None
    probes: tuple[str, ...] = ()
