"""Layers that are fastened through one another: what lies on what, and the holes they share.

Terms: the *layers* of an assembly are parts, named from the outside in; an *axis* is the line along which a drill or an
awl goes through all of them, square to the first layer; the *grip* is the thickness that a fastener holds together.

Convention: an axis points outward, from the last layer to the first; depths grow inward and are 0 in the neutral layer
of the first.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from meshflow.model.finding import Finding

__all__ = ["Assembly", "Axis", "Fastener", "Pierced", "SharedHole"]

Fastener = Literal["rivet", "eyelet", "lacing"]


@dataclass(frozen=True, slots=True)
class Axis:
    """A line through all layers.

    Parameters
    ----------
    point : (float, float, float)
        Where it meets the neutral layer of the first part [mm].
    direction : (float, float, float)
        Unit vector, outward.
    """

    point: tuple[float, float, float]
    direction: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Pierced:
    """Where an axis goes through one layer.

    Parameters
    ----------
    part : str
        Name of the part.
    flat : (float, float)
        On its flat pattern [mm].
    formed : (float, float, float)
        On its neutral layer, in the scan [mm].
    depth_mm : float
        How far inward of the first layer's neutral surface, along the axis [mm].
    half_mm : float
        Half of what the axis runs through in this layer: half of its thickness, more where it meets it aslant [mm].
    aslant_rad : float
        Angle between the axis and the normal of this layer [rad].
    """

    part: str
    flat: tuple[float, float]
    formed: tuple[float, float, float]
    depth_mm: float
    half_mm: float
    aslant_rad: float


@dataclass(frozen=True, slots=True)
class SharedHole:
    """One hole through all layers.

    Parameters
    ----------
    number : int
        From 1, in the order of the job.
    axis : Axis
        Its line.
    through : tuple of Pierced
        One for each layer, from the outside in.
    grip_mm : float
        From the outer face of the first layer to the inner face of the last, along the axis [mm].
    length_mm : float
        Length of the fastener to order [mm]; 0 where none is ordered by length.
    """

    number: int
    axis: Axis
    through: tuple[Pierced, ...]
    grip_mm: float
    length_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Assembly:
    """Layers and the holes they share.

    Parameters
    ----------
    name : str
        Name, also the stem of its files.
    layers : tuple of str
        Names of the parts, from the outside in.
    fastener : {"rivet", "eyelet", "lacing"}
        What goes through the holes.
    diameter_mm : float
        Diameter of the hole [mm].
    holes : tuple of SharedHole
        The holes.
    notes : tuple of Finding
        What there is to say: layers that lie in each other, gaps, holes aslant.
    """

    name: str
    layers: tuple[str, ...]
    fastener: Fastener
    diameter_mm: float
    holes: tuple[SharedHole, ...] = ()
    notes: tuple[Finding, ...] = field(default=())
