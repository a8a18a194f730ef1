"""Names of edges beside the outline, so that a maker knows which one to say in the job file.

Convention: each name stands at the middle of its edge, just outside the material; where there is no room it moves
along the edge, and is left out where there is none at all. Names appear only on parts that use them.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from meshflow.geometry.curves import tessellate
from meshflow.geometry.transforms import move_points
from meshflow.model.arrays import FloatArray
from meshflow.model.drawing import Layer
from meshflow.model.part import Part
from meshflow.model.pattern import Edge, FlatPattern
from meshflow.report.picture import Frame, Words

__all__ = ["NAME_ROOM", "edge_names", "names_wanted"]

NAME_ROOM = 20.0  # what a line of names takes above or below the piece [picture units]
_SIZE, _FARTHEST = 14.0, 40
_PIERCED = (Layer.STITCH_POINT, Layer.HOLE_POINT)
_SHARES = (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9)

Box = tuple[float, float, float, float]


def names_wanted(pattern: FlatPattern, part: Part) -> float:
    """Return how wide the widest name is [picture units]; 0 when a part has nothing along its edges."""
    openings = len({edge.loop for edge in pattern.edges if edge.loop})
    pierced = len(part.holes) > openings or any(mark.layer in _PIERCED for mark in part.marks)
    stitched = any(note.code == "D149" for note in part.notes)
    if not (part.allowances or stitched or pierced):
        return 0.0
    return max((2.0 * _half_width(edge.name) for edge in pattern.edges), default=0.0)


def edge_names(pattern: FlatPattern, part: Part, frame: Frame, *, width: float, height: float) -> list[Words]:
    """Return the names of a part's edges.

    Parameters
    ----------
    pattern : FlatPattern
        Its edges.
    part : Part
        Its contours, which no name may cover.
    frame : Frame
        From the piece to the picture.
    width, height : float
        Room for names [picture units].
    """
    import shapely

    rings = [frame(tessellate(curve, tolerance=0.3 / frame.scale)) for curve in (part.outline, *part.holes)]
    solid = shapely.Polygon(rings[0], rings[1:]).buffer(3.0)
    shapely.prepare(solid)
    farthest = _FARTHEST + int(part.allowance_reach_mm * frame.scale)
    taken: list[Box] = []
    for edge in pattern.edges:
        points = frame(move_points(pattern.vertices[edge.vertices], part.placement_of_pattern))
        for place, outward in _places(edge, points, turned_over=part.placement_of_pattern.mirrored):
            boxes = _boxes(place, outward, _half_width(edge.name), farthest)
            box = next((box for box in boxes if _free(box, solid, taken, (width, height))), None)
            if box is not None:
                taken.append(box)
                break
        else:
            taken.append((0.0, 0.0, 0.0, 0.0))
    return [
        Words(0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3]) + 0.36 * _SIZE, edge.name, _SIZE, "middle")
        for edge, box in zip(pattern.edges, taken, strict=True)
        if box[2] > box[0]
    ]


def _half_width(name: str) -> float:
    return 0.31 * _SIZE * len(name) + 1.0


def _places(edge: Edge, points: FloatArray, *, turned_over: bool) -> list[tuple[FloatArray, FloatArray]]:
    """Return places along an edge, its middle first, and the way out of the material; y points down."""
    run = np.concatenate([points, points[:1]]) if edge.closed else points
    long = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(run, axis=0).T))])
    found = []
    for share in _SHARES:
        ends = np.clip(np.array([share - 0.02, share, share + 0.02]), 0.0, 1.0) * long[-1]
        before, place, after = np.stack([np.interp(ends, long, run[:, axis]) for axis in (0, 1)], axis=1)
        along = after - before
        out = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-12)
        found.append((place, -out if turned_over else out))
    return found


def _boxes(place: FloatArray, outward: FloatArray, half: float, farthest: int) -> Iterator[Box]:
    """Yield boxes for a name, from its edge outwards."""
    for far in range(farthest):
        x, y = (place + far * outward).tolist()
        yield (x - half, y - 0.5 * _SIZE, x + half, y + 0.5 * _SIZE)


def _free(box: Box, solid: object, taken: list[Box], room: tuple[float, float]) -> bool:
    """Whether a box lies in the picture and covers neither another name nor material."""
    import shapely

    if box[0] < 0.0 or box[1] < 0.0 or box[2] > room[0] or box[3] > room[1]:
        return False
    if any(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken):
        return False
    return not shapely.intersects(solid, shapely.box(*box))
