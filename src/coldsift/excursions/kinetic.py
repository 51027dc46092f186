"""Mean kinetic temperature."""

from __future__ import annotations

import polars as pl

ACTIVATION_ENERGY = 83.144
"""Default activation energy of the mean kinetic temperature. [kJ/mol] USP <1079>, from memory."""

GAS_CONSTANT = 8.314462618e-3
"""[kJ/(mol K)] exact since the SI of 2019."""

ZERO_CELSIUS = 273.15


def arrhenius(temperature: pl.Expr, activation_energy: float = ACTIVATION_ENERGY) -> pl.Expr:
    """Rate factor exp(−ΔH/RT) of each reading, relative to that at 0 °C.

    Parameters
    ----------
    temperature
        [°C]
    activation_energy
        [kJ/mol]

    Returns
    -------
    polars.Expr
        Same length; relative, so that the exponentials stay in range.
    """
    ratio = activation_energy / GAS_CONSTANT
    return (ratio * (1 / ZERO_CELSIUS - 1 / (temperature + ZERO_CELSIUS))).exp()


def from_rate(mean_rate: pl.Expr, activation_energy: float = ACTIVATION_ENERGY) -> pl.Expr:
    """Temperature whose rate factor is the mean one. [°C]."""
    ratio = activation_energy / GAS_CONSTANT
    return 1 / (1 / ZERO_CELSIUS - mean_rate.log() / ratio) - ZERO_CELSIUS


def mean_kinetic_temperature(
    temperature: pl.Expr, hours: pl.Expr | None = None, activation_energy: float = ACTIVATION_ENERGY
) -> pl.Expr:
    """Mean kinetic temperature of readings. [°C].

    Parameters
    ----------
    temperature
        Readings. [°C]
    hours
        Time each reading stands for; equal weights without it. [h]
    activation_energy
        [kJ/mol]

    Returns
    -------
    polars.Expr
        One value an aggregation group.

    Notes
    -----
    T_K = (ΔH/R) / −ln(Σ w·exp(−ΔH/(R·T)) / Σ w). Check values: tests/outside/test_kinetic_temperature.py.
    """
    rate = arrhenius(temperature, activation_energy)
    if hours is None:
        return from_rate(rate.mean(), activation_energy)
    return from_rate((rate * hours).sum() / hours.sum(), activation_energy)
