"""Drawings of a former: the plan of its blocks with tack line, joints and vents, and sections through it.

Layers: outline of the block on ``CUT_OUTSIDE``, vents on ``CUT_INSIDE``, edge of the piece on ``MARK_LINE``, tack line
on ``STITCH_POINT`` (a dot for each tack) and ``ALIGN_MARK``, joints on ``MARK_LINE``, words on ``NOTE``.

Convention: the plan is in the axes of the block, seen on its face.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from meshflow.geometry.curves import length, point_at
from meshflow.geometry.polygons import buffered_ring
from meshflow.geometry.solid_cut import section_of
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.tooling.former_face import FormerFace
from meshflow.tooling.former_options import FormerOptions
from meshflow.tooling.plan_strokes import drawing_of, section_strokes, words_at
from meshflow.tooling.split import Pieces

if TYPE_CHECKING:
    from meshflow.tooling.former import Vent

__all__ = ["TACK_PITCH_MM", "former_drawings"]

TACK_PITCH_MM: Final = 20.0  # common practice: a tack every two fingers
_BETWEEN = 20.0


def former_drawings(
    face: FormerFace,
    body: tuple[FloatArray, IntArray],
    pieces: Pieces,
    options: FormerOptions,
    vents: Sequence[Vent],
) -> tuple[Drawing, ...]:
    """Return the plan and the sections of a former."""
    return _plan(face, pieces, vents), _sections(face, body)


def _plan(face: FormerFace, pieces: Pieces, vents: Sequence[Vent]) -> Drawing:
    strokes = [Stroke(Layer.CUT_OUTSIDE, Polycurve(face.outline)), Stroke(Layer.MARK_LINE, Polycurve(face.edge))]
    strokes += _tacks(face)
    strokes += [Stroke(Layer.CUT_INSIDE, Circle(hole[:2], 0.5 * hole[2])) for hole in face.holes]
    low, high = face.outline.min(axis=0), face.outline.max(axis=0)
    for axis, at in sorted({(joint.axis, joint.at_mm) for joint in pieces.joints if joint.axis != "z"}):
        ends = [[at, low[1]], [at, high[1]]] if axis == "x" else [[low[0], at], [high[0], at]]
        strokes.append(Stroke(Layer.MARK_LINE, Polycurve(np.array(ends), closed=False)))
    for number, vent in enumerate(vents, start=1):
        strokes += words_at(f"V{number} -{vent.hollow_mm:.1f}", (vent.x_mm + 4.0, vent.y_mm + 2.0))
    for number, (vertices, _) in enumerate(pieces.bodies, start=1):
        if len(pieces.bodies) > 1:
            middle = 0.5 * (vertices.min(axis=0) + vertices.max(axis=0))
            strokes += words_at(f"BLOCK {number}", (float(middle[0]), float(middle[1])), cap=6.0)
    said = (
        "Outer line: the block. Inner line: edge of the piece. Dots: tacks.",
        *(f"Vent {n}: x {v.x_mm:.1f} y {v.y_mm:.1f}, hollow {v.hollow_mm:.1f} mm." for n, v in enumerate(vents, 1)),
    )
    return drawing_of("plan", strokes, said)


def _tacks(face: FormerFace) -> list[Stroke]:
    """Return the tack line along the middle of the land, and a dot for each tack."""
    width = float(
        np.min(np.linalg.norm(face.outline[:, None] - face.edge[None, :: max(len(face.edge) // 400, 1)], axis=2))
    )
    line = buffered_ring(face.edge, 0.5 * width, most_mitre=0.0) if width > 2.0 else None
    if line is None:
        return []
    run = Polycurve(line)
    count = max(round(length(run) / TACK_PITCH_MM), 3)
    places = point_at(run, length(run) * np.arange(count) / count)
    return [
        Stroke(Layer.ALIGN_MARK, run),
        *(Stroke(Layer.STITCH_POINT, Dot((float(x), float(y)))) for x, y in np.asarray(places).reshape(-1, 2)),
    ]


def _sections(face: FormerFace, body: tuple[FloatArray, IntArray]) -> Drawing:
    """Return sections along the block and across it at three places, one over the other."""
    low, high = face.outline.min(axis=0), face.outline.max(axis=0)
    cuts = [("Y", 1, 0.5), ("X", 0, 0.25), ("X", 0, 0.5), ("X", 0, 0.75)]
    strokes: list[Stroke] = []
    up, said = 0.0, []
    for letter, axis, share in cuts:
        at = float(low[axis] + share * (high - low)[axis])
        joint = section_of(*body, np.eye(3)[axis], at)
        if not joint.rings:
            continue
        # In the plane, x of the section runs along the block and its y is height.
        turned = [[_upright(joint.in_space(ring), axis) for ring in piece] for piece in joint.rings]
        base = min(float(ring[:, 0].min()) for piece in turned for ring in piece)
        strokes += section_strokes(turned, np.array([-base, up]))
        strokes += words_at(f"{letter} {at:.1f}", (0.0, up - 8.0))
        said.append(f"Section at {letter.lower()} = {at:.1f} mm.")
        up += float(face.points[:, 2].max()) + _BETWEEN
    return drawing_of("sections", strokes, ("Metal or wood under the line; the back of the block is straight.", *said))


def _upright(points: FloatArray, axis: int) -> FloatArray:
    return np.asarray(points[:, [1 - axis, 2]])
