"""What to bring to a unit: the parts and tools of its likeliest cause and of those like it in the log."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from coldsift.causes.catalogue import WORTH_NAMING, Catalogue


def alike_and_likely(cause: str, chances: Mapping[str, float], catalogue: Catalogue) -> list[str]:
    """The likeliest cause and, likeliest first, those worth naming that the log does not tell from it."""
    alike = catalogue.causes[cause].alike if cause in catalogue.causes else ()
    others = [each for each in alike if each != cause and chances.get(each, 0.0) >= WORTH_NAMING]
    return [cause, *sorted(others, key=lambda each: (-chances[each], each))]


def to_bring(together: Sequence[str], catalogue: Catalogue) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Parts and tools, each once.

    Parameters
    ----------
    together
        From :func:`alike_and_likely`; hypotheses that are no cause of the catalogue bring nothing.
    catalogue
        Names the parts and tools.
    """
    causes = [catalogue.causes[each] for each in together if each in catalogue.causes]
    return (
        tuple(dict.fromkeys(part for cause in causes for part in cause.parts)),
        tuple(dict.fromkeys(tool for cause in causes for tool in cause.tools)),
    )
