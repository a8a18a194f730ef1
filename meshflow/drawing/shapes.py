"""What was found in a drawing file, whatever its format."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from meshflow.model.curve import Curve

__all__ = ["CHORD_MM", "Shape", "Shapes"]

CHORD_MM = 0.005  # how closely arcs follow a curve that is none


@dataclass(frozen=True, slots=True)
class Shape:
    """One curve and the layer it was on.

    Parameters
    ----------
    layer : str
        Layer name, upper case.
    curve : Polycurve, Circle or Dot
        The curve [mm].
    """

    layer: str
    curve: Curve


@dataclass(slots=True)
class Shapes:
    """Everything found in a file.

    Parameters
    ----------
    shapes : list of Shape
        In file order.
    tessellated, ignored, hidden, clipped : Counter
        How many entities of a kind became arcs, are not curves, and how many on a layer are switched off or clipped.
    texts : list of (str, (float, float))
        Layer and place of each live text [mm].
    """

    shapes: list[Shape] = field(default_factory=list)
    tessellated: Counter[str] = field(default_factory=Counter)
    ignored: Counter[str] = field(default_factory=Counter)
    hidden: Counter[str] = field(default_factory=Counter)
    clipped: Counter[str] = field(default_factory=Counter)
    texts: list[tuple[str, tuple[float, float]]] = field(default_factory=list)
