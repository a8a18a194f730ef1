"""A drawing: curves sorted onto layers named for what is done with them.

Layers are plain trade words in the order of work: marks first, then what is cut inside, then the outside, so that a
part is whole until its last cut; lead-ins, where they are asked for, belong to the contours they end on. The last three
are never cut. Colours carry no meaning.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from meshflow.model.curve import Curve

__all__ = ["LAYERS", "NEVER_CUT", "Drawing", "Layer", "Stroke"]


class Layer(StrEnum):
    """Layers in their order in a file."""

    MARK_TEXT = "MARK_TEXT"
    MARK_LINE = "MARK_LINE"
    RELIEF_LINE = "RELIEF_LINE"
    FOLD_LINE = "FOLD_LINE"
    BEND_LINE = "BEND_LINE"
    SKIVE_LINE = "SKIVE_LINE"
    STITCH_POINT = "STITCH_POINT"
    HOLE_POINT = "HOLE_POINT"
    TAB_POINT = "TAB_POINT"
    CUT_INSIDE = "CUT_INSIDE"
    CUT_OUTSIDE = "CUT_OUTSIDE"
    LEAD_LINE = "LEAD_LINE"
    ALIGN_MARK = "ALIGN_MARK"
    SHEET_EDGE = "SHEET_EDGE"
    NOTE = "NOTE"


LAYERS: tuple[Layer, ...] = tuple(Layer)
NEVER_CUT: tuple[Layer, ...] = (Layer.ALIGN_MARK, Layer.SHEET_EDGE, Layer.NOTE)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One curve on one layer.

    Parameters
    ----------
    layer : Layer
        What is done with it.
    curve : Polycurve, Circle or Dot
        The curve [mm].
    depth : int
        In how many holes of other parts its part lies: contours of greater depth are cut first, whatever their layer,
        for they fall with the slug of the hole.
    """

    layer: Layer
    curve: Curve
    depth: int = 0


@dataclass(frozen=True, eq=False)
class Drawing:
    """Everything one file shows.

    Parameters
    ----------
    name : str
        Title, ASCII.
    strokes : tuple of Stroke
        In file order: by layer, contours of parts in holes of others first, then as composed.
    extents : (float, float, float, float)
        Least x, least y, greatest x, greatest y [mm].
    comments : tuple of str
        Sentences for the head of the file: units, kerf state, job hash. ASCII.
    properties : mapping of str to str
        The same as key and value, carried as extended data.
    """

    name: str
    strokes: tuple[Stroke, ...]
    extents: tuple[float, float, float, float]
    comments: tuple[str, ...] = ()
    properties: Mapping[str, str] = field(default_factory=dict)
