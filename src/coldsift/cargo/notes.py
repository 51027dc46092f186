"""What a reader of one container's reckoning must know, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.leak import leak_heat, warm_up_rate, warm_up_time
from coldsift.cargo.profile import slab_profile


def cargo_notes(timeline: pl.DataFrame, cargo: Cargo, temperatures: pl.DataFrame) -> tuple[str, ...]:
    """What was assumed, what the walls let in, and what a second, finer model says.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, of this container alone.
    cargo
        From :func:`coldsift.cargo.cargoes_of`.
    temperatures
        From :func:`coldsift.cargo.cargo_temperatures`, of this container alone; empty where none were
        reckoned.

    Returns
    -------
    tuple of str
        Numbers with their units.
    """
    return (*cargo.assumptions, *_walls(timeline, cargo), *_slab(timeline, cargo, temperatures))


def _walls(timeline: pl.DataFrame, cargo: Cargo) -> Iterator[str]:
    outside: float | None = timeline.select(pl.col("ambient_air").mean()).item()
    if outside is None or cargo.set_point is None:
        return
    low, high = (leak_heat(leak, outside, cargo.set_point) for leak in cargo.heat_leak)
    text = (
        f"At the mean ambient of {_degrees(outside)} the walls let in {low:.0f} to {high:.0f} W, by a heat "
        f"leak of {cargo.heat_leak[0]:.0f} to {cargo.heat_leak[1]:.0f} W/K"
    )
    if cargo.frozen or outside <= cargo.set_point:
        yield f"{text}."
        return
    light, heavy = (mass * heat for mass, heat in zip(cargo.mass, cargo.stow.specific_heat, strict=True))
    slow, fast = (heavy, cargo.heat_leak[0]), (light, cargo.heat_leak[1])
    rates = [warm_up_rate(*case, outside, cargo.set_point) for case in (slow, fast)]
    times = [warm_up_time(*case) for case in (fast, slow)]
    yield (
        f"{text}; without power all the cargo as one would warm by {rates[0]:.2f} to {rates[1]:.2f} K/h at "
        f"first, with a time constant of {times[0]:.0f} to {times[1]:.0f} h. Its outer part warms sooner."
    )


def _slab(timeline: pl.DataFrame, cargo: Cargo, temperatures: pl.DataFrame) -> Iterator[str]:
    slab = slab_profile(timeline, cargo)
    if slab.is_empty() or temperatures["core"].count() == 0:
        return
    both = slab.join(temperatures, on="time")
    apart = both.select(
        core=(pl.col("centre") - pl.col("core")).abs().max(),
        surface=(pl.col("outer") - pl.col("surface")).abs().max(),
    ).row(0)
    warmest = slab.sort("centre", "time", descending=[True, False]).row(0, named=True)
    yield (
        "Reckoned a second time as a slab with its whole profile: centre at its warmest "
        f"{_degrees(warmest['centre'])} ({_degrees(warmest['centre_low'])} to "
        f"{_degrees(warmest['centre_high'])}); the "
        f"two reckonings lie at most {apart[0]:.1f} K apart in the core, {apart[1]:.1f} K in the outer cargo."
    )


def _degrees(value: float) -> str:
    return f"{value:.1f} °C".replace("-", "−")
