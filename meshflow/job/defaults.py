"""What a job takes when it does not say: the workshop's habits, each a common practice and no more.

A job that names the process, or the thickness of a try-out sheet, outranks all of this.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

from meshflow.model.stock import Material

__all__ = ["LEAST_TOLERANCE_MM", "TRYOUT_THICKNESS_MM", "Tryout", "usual_process"]

# What a good cutting shop holds; a rougher scan gets a larger one (`outline.tolerance`).
LEAST_TOLERANCE_MM: Final = 0.05

Tryout = Literal["acrylic", "card"]

# Common practice: stiff enough to stand, thin enough to bend over the form by hand (acrylic: warmed).
TRYOUT_THICKNESS_MM: Final[Mapping[Tryout, float]] = MappingProxyType({"acrylic": 3.0, "card": 1.0})

# Common practice: hide, cloth and card under the knife, plastic on the laser, metal on the water-jet.
_USUAL: Final = MappingProxyType({"leather": "knife", "cloth": "knife", "card": "knife", "plastic": "laser_nonmetal"})
_OTHERWISE: Final = "water_jet"


def usual_process(material: Material) -> str:
    """Return the id of the process that a material is cut with when the job names none."""
    return _USUAL.get(material.family, _OTHERWISE)
