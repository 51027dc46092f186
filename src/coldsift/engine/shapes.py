"""Whether a value read from JSON is of the shape that it was written in."""

from __future__ import annotations

from typing import Any


def check_shape(value: Any, shape: Any, where: str = "") -> None:
    """Raise :class:`ValueError` with the place where a value is not of its shape.

    Parameters
    ----------
    value
        As JSON gives it.
    shape
        A type, or a union of types; a list of one shape for any number of such; a mapping of all keys to
        shapes, in which ``str`` as the key stands for any number of names.
    where
        Place of the value, empty for the whole.
    """
    if isinstance(shape, dict):
        if not isinstance(value, dict) or (str not in shape and value.keys() != shape.keys()):
            raise ValueError(where or "a part")
        for key, each in value.items():
            check_shape(each, shape.get(key, shape.get(str)), f"{where}.{key}" if where else key)
    elif isinstance(shape, list):
        if not isinstance(value, list):
            raise ValueError(where)
        for place, each in enumerate(value, start=1):
            check_shape(each, shape[0], f"{where} {place}")
    elif not isinstance(value, shape):
        raise ValueError(where)
