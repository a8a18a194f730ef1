"""Flat designs as the two faces of a casting: a plate with openings, or a relief; and either bent onto a surface."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.bend_on import Bent
from meshflow.geometry.plan_mesh import plan_mesh, with_more_points
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding
from meshflow.model.relief import Relief
from meshflow.tooling.cast import CastSheets
from meshflow.tooling.cast_options import CastOptions

__all__ = ["bent_sheets", "plate_of_rings", "relief_sheets"]

_BEYOND = 0.05  # mm that a design may reach beyond the pattern: rounding of its drawing


def plate_of_rings(rings: Sequence[FloatArray], options: CastOptions) -> CastSheets:
    """Return the faces of a plate: outline, then openings, in either direction [mm]; z = 0 is its underside."""
    size = float(np.ptp(rings[0], axis=0).max())
    pitch = options.pitch_mm or min(max(size / 150.0, 0.2), 1.0)
    points, faces = plan_mesh([with_more_points(np.asarray(ring), pitch) for ring in rings], pitch=pitch)
    return _flat(points, faces, np.zeros(len(points)), options)


def relief_sheets(relief: Relief, options: CastOptions) -> CastSheets:
    """Return the faces of a casting with a relief on a flat back: the ground as thick as the wall asked for."""
    if not relief.outline:
        raise OptionError(
            "this relief has no outline.", where=relief.name, remedy="Write it again with meshflow relief."
        )
    pitch = options.pitch_mm or relief.pitch_mm
    rings = [with_more_points(_spaced(ring, 0.2 * pitch), pitch) for ring in relief.outline]
    points, faces = plan_mesh(rings, pitch=pitch)
    return _flat(points, faces, _sampled(relief, points), options)


def _flat(points: FloatArray, faces: IntArray, height: FloatArray, options: CastOptions) -> CastSheets:
    top = height + options.wall_mm + options.polish_mm
    off = np.full(len(points), options.polish_mm)
    under = np.full(len(points), options.machining_mm)
    return CastSheets(np.column_stack([points, top]), np.column_stack([points, -under]), faces, off, under)


def _spaced(ring: FloatArray, least: float) -> FloatArray:
    kept = [ring[0]]
    for point in ring[1:]:
        if np.hypot(*(point - kept[-1])) >= least:
            kept.append(point)
    while len(kept) > 3 and np.hypot(*(kept[-1] - kept[0])) < least:
        kept.pop()
    return np.array(kept)


def _sampled(relief: Relief, points: FloatArray) -> FloatArray:
    """Return heights of a relief between its samples; those outside count as their nearest inside."""
    from scipy.ndimage import distance_transform_edt, map_coordinates

    _, (row, column) = distance_transform_edt(~relief.inside, return_indices=True)
    places = (points - np.array(relief.origin_mm)) / relief.pitch_mm
    return np.asarray(map_coordinates(relief.height[row, column], places[:, ::-1].T, order=1, mode="nearest"))


def bent_sheets(
    plate: CastSheets, flat: FloatArray, shape: FloatArray, faces: IntArray, *, notes: Sequence[Finding] = ()
) -> CastSheets:
    """Return the faces of a flat design bent onto a surface.

    Parameters
    ----------
    plate : CastSheets
        The design, flat; its z = 0 comes onto the surface.
    flat : (n, 2) float array
        The surface laid flat [mm].
    shape : (n, 3) float array
        The surface [mm].
    faces : (m, 3) int array
        Of both.
    notes : sequence of Finding
        What moving the surface had to say.

    Raises
    ------
    OptionError
        If the design reaches beyond the pattern.
    """
    bent = Bent(flat, shape, faces)
    beyond = float(bent.outside(plate.upper[:, :2]).max())
    if beyond > _BEYOND:
        low, high = flat.min(axis=0), flat.max(axis=0)
        raise OptionError(
            f"the design reaches {beyond:.1f} mm beyond the piece laid flat, which lies from "
            f"{low[0]:.1f}, {low[1]:.1f} to {high[0]:.1f}, {high[1]:.1f} mm.",
            remedy="Move or shrink the drawing so that it lies within the flat pattern.",
        )
    return CastSheets(
        bent.at(plate.upper), bent.at(plate.lower), plate.faces, plate.off_upper, plate.off_lower, notes=tuple(notes)
    )
