"""Saturation of refrigerants: what a pressure means as a temperature.

Goes in: absolute pressures or temperatures as arrays, and a refrigerant by name. Comes out: dew and bubble
temperatures or pressures, superheat and subcooling, and for a pressure that has no saturation temperature the
reason why.

CoolProp supplies the values. It takes seconds to load, so the usual refrigerants are tabulated once, by
``python -m coldsift.refrigerant.make``, and shipped; others are tabulated when first asked for.
"""

from coldsift.refrigerant.names import DEFAULT_REFRIGERANT, KNOWN, UnknownRefrigerant, canonical
from coldsift.refrigerant.saturation import REFUSALS, Saturation, saturation, subcooling, superheat

__all__ = [
    "DEFAULT_REFRIGERANT",
    "KNOWN",
    "REFUSALS",
    "Saturation",
    "UnknownRefrigerant",
    "canonical",
    "saturation",
    "subcooling",
    "superheat",
]
