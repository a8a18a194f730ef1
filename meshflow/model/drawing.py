"""A drawing: curves sorted onto layers named for what is done with them.

Layers are plain trade words in the order of work: marks first, then what is cut inside, then the outside, so that a
part is whole until its last cut; lead-ins, where they are asked for, belong to the contours they end on. Those from
ALIGN_MARK on are never cut. Colours carry no meaning.

On a layer GRADE_n of a part stands where it needs stuff of grade n or better; of a hide or an offcut, where the stuff
is of grade n; 1 is the best. BACKBONE is the line along which the grain of a hide runs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from meshflow.model.curve import Curve

__all__ = ["GRADES", "LAYERS", "NEVER_CUT", "Drawing", "Layer", "Stroke", "grade_layer"]


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
    BACKBONE = "BACKBONE"
    GRADE_1 = "GRADE_1"
    GRADE_2 = "GRADE_2"
    GRADE_3 = "GRADE_3"
    GRADE_4 = "GRADE_4"
    GRADE_5 = "GRADE_5"
    GRADE_6 = "GRADE_6"
    GRADE_7 = "GRADE_7"
    GRADE_8 = "GRADE_8"
    GRADE_9 = "GRADE_9"
    NOTE = "NOTE"


LAYERS: tuple[Layer, ...] = tuple(Layer)
GRADES: tuple[Layer, ...] = tuple(layer for layer in Layer if layer.startswith("GRADE_"))
NEVER_CUT: tuple[Layer, ...] = (Layer.ALIGN_MARK, Layer.SHEET_EDGE, Layer.BACKBONE, *GRADES, Layer.NOTE)


def grade_layer(grade: int) -> Layer:
    """Return the layer of a grade from 1; whatever is worse than the last of them shares that one."""
    return GRADES[min(max(grade, 1), len(GRADES)) - 1]


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
