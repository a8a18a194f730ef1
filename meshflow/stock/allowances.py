"""How wide an allowance usually is, by family of material and by thickness.

A width is a base and so many times the thickness. Each comes with its mark; all of them are habit or recalled, so they
are shown as a default to check with the maker's own way of working. A fact ``allowance_seam`` (``_turned``, ``_lap``,
``_trim``, ``_skive``) in the workshop's own stock file takes their place.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from meshflow.errors import StockError
from meshflow.model.allowance import AllowanceKind
from meshflow.model.stock import Mark, Material

__all__ = ["allowance_caution", "usual_allowance"]

# Base [mm], share of the thickness, mark, why.
_Row = tuple[float, float, Mark, str]
_METAL: Final[Mapping[str, _Row]] = {
    "lap": (3.0, 3.0, "MEMORY", "soldered lap: three thicknesses and never under 3 mm"),
    "turned": (4.0, 2.0, "MEMORY", "folded safe edge: flat fold and its bend"),
    "trim": (3.0, 2.0, "COMMON_PRACTICE", "hammering draws the rim unevenly"),
}
_USUAL: Final[Mapping[str, Mapping[str, _Row]]] = MappingProxyType(
    {
        "leather": {
            "seam": (3.0, 1.0, "COMMON_PRACTICE", "raw edge to stitch line 3 to 5 mm"),
            "turned": (8.0, 1.0, "COMMON_PRACTICE", "fold allowance 8 to 10 mm, thicker leather more"),
            "lap": (8.0, 1.0, "COMMON_PRACTICE", "room for two rows of stitches"),
            "trim": (5.0, 1.0, "COMMON_PRACTICE", "to hold and trim after wet forming"),
            "skive": (10.0, 1.0, "COMMON_PRACTICE", "skived over 10 to 12 mm, to about half"),
        },
        "cloth": {
            "seam": (10.0, 0.0, "COMMON_PRACTICE", "plain seam 8 to 10 mm, and what frays"),
            "turned": (20.0, 0.0, "COMMON_PRACTICE", "hem, turned twice"),
            "lap": (12.0, 0.0, "COMMON_PRACTICE", "lapped seam"),
            "trim": (10.0, 0.0, "COMMON_PRACTICE", "to hold while it is stretched"),
        },
        "card": {
            "seam": (5.0, 0.0, "COMMON_PRACTICE", "edge to staple or stitch"),
            "turned": (8.0, 2.0, "COMMON_PRACTICE", "flap that folds flat and is glued down"),
            "lap": (8.0, 1.0, "COMMON_PRACTICE", "glue flap"),
            "trim": (3.0, 0.0, "COMMON_PRACTICE", "cut off with the knife"),
        },
        "plastic": {
            "lap": (5.0, 2.0, "COMMON_PRACTICE", "cemented lap"),
            "trim": (5.0, 1.0, "COMMON_PRACTICE", "to hold while it is draped hot"),
        },
        **dict.fromkeys(("copper", "brass", "bronze", "steel", "aluminium", "silver"), _METAL),
    }
)


def usual_allowance(material: Material, kind: AllowanceKind, thickness_mm: float) -> tuple[float, str]:
    """Return the usual width of an allowance, and why.

    Parameters
    ----------
    material : Material
        What the piece is made of.
    kind : {"seam", "turned", "lap", "trim", "skive"}
        What the allowance is for.
    thickness_mm : float
        Thickness [mm].

    Returns
    -------
    width_mm : float
        To half a millimetre [mm].
    source : str
        Reason and mark, in words.

    Raises
    ------
    StockError
        If the tables know none, or the material cannot be worked that way.
    """
    own = material.facts.get(f"allowance_{kind}")
    if own is not None:
        return own.span[1], f"{own.source} ({own.mark})"
    if kind == "skive" and material.family != "leather":
        raise StockError(
            f"{material.name} is not skived.", where=material.id, remedy="Leather alone is thinned with a knife."
        )
    row = _USUAL.get(material.family, {}).get(kind)
    if row is None:
        raise StockError(
            f'no usual width of a "{kind}" allowance is known for {material.name}.',
            where=material.id,
            remedy="Give a width.",
        )
    base, share, mark, why = row
    width = round(2.0 * (base + share * thickness_mm)) / 2.0
    return width, f"{why}; {base:g} mm + {share:g} x thickness ({mark})"


def allowance_caution(material: Material, kind: AllowanceKind) -> str:
    """Return what speaks against an allowance of this kind in a material, with source and mark; empty when nothing.

    Parameters
    ----------
    material : Material
        What the piece is made of; its fact ``caution_turned`` (``_seam`` ...) is looked up.
    kind : {"seam", "turned", "lap", "trim", "skive"}
        What the allowance is for.
    """
    fact = material.facts.get(f"caution_{kind}")
    return "" if fact is None else f"{fact.value} ({fact.source}, {fact.mark})"
