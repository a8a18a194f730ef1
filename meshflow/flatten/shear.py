"""How far the threads of cloth or leather shear and stretch when a flat piece is laid over its form.

Terms: *shear* is the right angle minus the angle between grain and cross grain on the formed piece; at the *lock* the
threads jam and the material folds instead. Stretch is formed over flat. Measured by code that the minimisation does
not share.

Finding: F131 the material locks.
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.forming import NOISE, Shear, Weave

__all__ = ["findings_of_shear", "grain_frame", "shear_of"]


def shear_of(vertices: FloatArray, flat: FloatArray, faces: IntArray, *, weave: Weave, grain_rad: float = 0.0) -> Shear:
    """Return how far the threads of a given flattening are sheared and stretched on the formed piece.

    Parameters
    ----------
    vertices : (n, 3) float array
        Formed positions [mm].
    flat : (n, 2) float array
        Flat positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    weave : Weave
        The material.
    grain_rad : float
        Direction of the grain on the flat, counter-clockwise from x [rad].

    Returns
    -------
    Shear
        Face by face; no shear for faces without area.
    """
    from meshflow.geometry.triangles import face_areas

    turned = flat @ grain_frame(grain_rad)
    p, q = turned[faces[:, 1]] - turned[faces[:, 0]], turned[faces[:, 2]] - turned[faces[:, 0]]
    u, v = vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]]
    det = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    areas = face_areas(vertices, faces)
    sound = (det > 0.0) & (areas > 0.0)
    det = np.where(sound, det, 1.0)[:, None]
    # Images of the unit vectors along and across the grain on the formed piece.
    along, across = (u * q[:, 1:] - v * p[:, 1:]) / det, (v * p[:, :1] - u * q[:, :1]) / det
    lengths = np.linalg.norm(along, axis=1), np.linalg.norm(across, axis=1)
    sine = (along * across).sum(axis=1) / np.where(sound, lengths[0] * lengths[1], 1.0)
    return Shear(
        angle_rad=np.where(sound, np.arcsin(np.clip(sine, -1.0, 1.0)), 0.0),
        along=np.where(sound, lengths[0], 1.0),
        across=np.where(sound, lengths[1], 1.0),
        area_surface=areas,
        lock_rad=weave.lock_rad,
    )


def findings_of_shear(shear: Shear, face_parent: IntArray) -> tuple[Finding, ...]:
    """Return what the maker should know about shear: where the material locks; face ids are those of the scan."""
    locked = shear.locked
    if shear.locked_share <= NOISE:
        return ()
    return (
        Finding(
            "F131",
            Severity.WARNING,
            f"{100 * shear.locked_share:.1f} % of the area is sheared beyond the lock of "
            f"{np.degrees(shear.lock_rad):.0f} degrees: the threads jam there and the material folds.",
            "Open the piece with a dart or a seam there, turn the grain, or take a looser weave.",
            count=int(locked.sum()),
            faces=tuple(np.unique(face_parent[locked])[:1000].tolist()),
        ),
    )


def grain_frame(angle: float) -> FloatArray:
    """Matrix that turns row vectors back by `angle`: the grain comes to lie along x."""
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.array([[cosine, -sine], [sine, cosine]])
