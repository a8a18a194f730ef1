"""Drawings of a cast pattern: its plan with posts, holes and thin places, and sections through it.

Layers: rim on ``MARK_LINE``, holes and posts as circles on ``HOLE_POINT``, thin places ringed on ``NOTE`` with their
wall, joints on ``ALIGN_MARK``. At the size of the pattern, seen on its outer face.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.geometry.solid_cut import section_of
from meshflow.geometry.topology import boundary_loops
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.tooling.plan_strokes import drawing_of, section_strokes, words_at
from meshflow.tooling.split import Joined

__all__ = ["cast_drawings"]

_BETWEEN = 10.0


def cast_drawings(
    upper: FloatArray,
    faces: IntArray,
    body: tuple[FloatArray, IntArray],
    thin: Sequence[tuple[FloatArray, float]],
    posts: FloatArray,
    holes: FloatArray,
    *,
    post_mm: float,
    hole_mm: float,
    joints: Sequence[Joined],
) -> tuple[Drawing, ...]:
    """Return plan and sections of a pattern; everything in its own axes and at its size [mm]."""
    strokes = [Stroke(Layer.MARK_LINE, Polycurve(upper[loop, :2])) for loop in boundary_loops(faces)]
    for places, diameter in ((posts, post_mm), (holes, hole_mm)):
        for x, y in places[:, :2].tolist():
            strokes += [Stroke(Layer.MARK_LINE, Circle((x, y), 0.5 * diameter)), Stroke(Layer.HOLE_POINT, Dot((x, y)))]
    for place, wall in thin:
        x, y = float(place[0]), float(place[1])
        strokes.append(Stroke(Layer.NOTE, Circle((x, y), 1.0)))
        strokes += words_at(f"{wall:.2f}", (x + 1.4, y + 0.4), cap=2.0)
    low, high = body[0].min(axis=0), body[0].max(axis=0)
    for axis, at in sorted({(joint.axis, joint.at_mm) for joint in joints if joint.axis != "z"}):
        ends = [[at, low[1]], [at, high[1]]] if axis == "x" else [[low[0], at], [high[0], at]]
        strokes.append(Stroke(Layer.ALIGN_MARK, Polycurve(np.array(ends), closed=False)))
    said = (
        "At the size of the pattern, seen on its outer face.",
        "Rings: walls thinner than run, with their wall in mm.",
    )
    return drawing_of("plan", strokes, said), _sections(body)


def _sections(body: tuple[FloatArray, IntArray]) -> Drawing:
    low, high = body[0].min(axis=0), body[0].max(axis=0)
    strokes: list[Stroke] = []
    up, said = 0.0, []
    for letter, axis in (("X", 0), ("Y", 1)):
        for share in (0.3, 0.5, 0.7):
            at = float(low[axis] + share * (high - low)[axis])
            joint = section_of(*body, np.eye(3)[axis], at)
            if not joint.rings:
                continue
            rings = [[joint.in_space(ring)[:, [1 - axis, 2]] for ring in piece] for piece in joint.rings]
            strokes += section_strokes(rings, np.array([0.0, up]))
            strokes += words_at(f"{letter} {at:.1f}", (0.0, up - 4.0), cap=2.5)
            said.append(f"Section at {letter.lower()} = {at:.1f} mm.")
            up += float(high[2]) + _BETWEEN
    return drawing_of("sections", strokes, said)
