"""R134a as the simulator sees it, against CoolProp."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from coldsift.simulate.refrigerant import isentropic_work, r134a

TEMPERATURES = np.array([-91.3, -56.41, -40.07, -26.074, -10.06, 0.0, 15.735, 31.77, 39.8, 55.1, 77.6])


@pytest.mark.parametrize(
    ("field", "output", "quality", "scale"),
    [
        ("pressure", "P", 1, 1e-5),
        ("liquid_enthalpy", "H", 0, 1.0),
        ("vapour_enthalpy", "H", 1, 1.0),
        ("liquid_density", "D", 0, 1.0),
        ("vapour_density", "D", 1, 1.0),
        ("vapour_heat", "C", 1, 1.0),
        ("liquid_heat", "C", 0, 1.0),
    ],
)
def test_saturation_states_equal_coolprop(field: str, output: str, quality: int, scale: float) -> None:
    expected = np.array(PropsSI(output, "T", TEMPERATURES + 273.15, "Q", quality, "R134a")) * scale
    np.testing.assert_allclose(getattr(r134a().at(TEMPERATURES), field), expected, rtol=2e-4)


@pytest.mark.parametrize(
    ("pressure", "temperature"),
    # computed: CoolProp v8.0.0 (Tillner-Roth & Baehr 1994); see check values, saturation table.
    [(0.013, -91.678), (0.2, -56.410), (1.01325, -26.074), (2.0, -10.076), (8.1, 31.765), (20.0, 67.481)],
)
def test_saturation_temperature_of_pressure(pressure: float, temperature: float) -> None:
    assert r134a().temperature_of_pressure(np.array([pressure]))[0] == pytest.approx(temperature, abs=0.02)


@pytest.mark.parametrize(
    ("cold", "warm", "superheat"), [(-28, 40, 7), (-20, 45, 6), (0, 40, 6), (-25, 30, 6)]
)
def test_work_of_compression_is_near_the_isentropic_one(cold: int, warm: int, superheat: int) -> None:
    low, high = (PropsSI("P", "T", t + 273.15, "Q", 1, "R134a") for t in (cold, warm))
    enthalpy, entropy, density = (
        PropsSI(what, "T", cold + superheat + 273.15, "P", low, "R134a") for what in "HSD"
    )
    expected = PropsSI("H", "S", entropy, "P", high, "R134a") - enthalpy
    work = isentropic_work(np.array([low / 1e5]), np.array([high / 1e5]), np.array([density]))
    assert work[0] == pytest.approx(expected, rel=0.02)
