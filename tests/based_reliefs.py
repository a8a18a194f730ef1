"""Known relief on known forms, with the true flattening: what `height_over` is held against.

Every vertex has a true place (u, v) on the flat, a true foot on the form and a true height.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from meshflow.model.relief import Base
from meshflow.model.surface import Source, Surface
from meshflow.regions import select


@dataclass(frozen=True)
class Based:
    """A scan over a known base."""

    base: Base
    surface: Surface
    flat: np.ndarray  # true places of the vertices
    height: object  # the true height as a function of u, v


def cords(u, v, *, pitch=12.0, wide=3.0, high=1.5):
    """Round cords of a width and height, slanting over the flat."""
    across = np.remainder(u + 0.35 * v + 0.5 * pitch, pitch) - 0.5 * pitch
    across = across / np.hypot(1.0, 0.35)
    return np.where(np.abs(across) < wide, high * 0.5 * (1.0 + np.cos(np.pi * across / wide)), 0.0)


def sheet(wide, high, edge, *, seed=3):
    """A rectangle of uneven triangles about (0, 0): places and faces."""
    columns, rows = round(wide / edge) + 1, round(high / edge) + 1
    u, v = np.meshgrid(np.linspace(-wide / 2, wide / 2, columns), np.linspace(-high / 2, high / 2, rows))
    rng = np.random.default_rng(seed)
    jitter = rng.uniform(-0.25, 0.25, (2, rows, columns)) * edge
    jitter[:, [0, -1], :] = jitter[:, :, [0, -1]] = 0.0
    places = np.stack([u + jitter[0], v + jitter[1]], axis=2).reshape(-1, 2)
    at = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], axis=2), np.stack([a, c, d], axis=2)], axis=0).reshape(-1, 3)
    return places, faces


def on_plane(u, v):
    """Feet and normals on a slanting plane."""
    normal = np.array([0.36, -0.48, 0.8])
    first = np.array([0.8, 0.0, -0.36]) / np.hypot(0.8, 0.36)
    second = np.cross(normal, first)
    feet = 40.0 * normal + u[:, None] * first + v[:, None] * second
    return feet, np.broadcast_to(normal, feet.shape), {"normal": tuple(normal.tolist())}


def on_cylinder(u, v, *, radius=70.0):
    """Feet and normals on a cylinder about the z axis."""
    turn = u / radius
    normal = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=1)
    feet = radius * normal + v[:, None] * np.array([0.0, 0.0, 1.0])
    said = {"axis": (0.0, 0.0, 1.0), "centre_mm": (0.0, 0.0, 0.0), "radius_mm": radius}
    return feet, normal, said


def on_cone(u, v, *, half=0.45, away=140.0):
    """Feet and normals on a cone about the z axis, its apex above at the origin; v runs down the slant."""
    slant, sector = np.hypot(u, away - v), np.arctan2(u, away - v)
    turn = sector / np.sin(half)
    feet = slant[:, None] * np.stack(
        [np.sin(half) * np.cos(turn), np.sin(half) * np.sin(turn), -np.cos(half) * np.ones_like(turn)], axis=1
    )
    normal = np.cos(half) * np.stack([np.cos(turn), np.sin(turn), np.tan(half) * np.ones_like(turn)], axis=1)
    return feet, normal, {"axis": (0.0, 0.0, -1.0), "apex_mm": (0.0, 0.0, 0.0), "half_angle_rad": float(half)}


FORMS = {"plane": on_plane, "cylinder": on_cylinder, "cone": on_cone}


def based(kind, *, wide=80.0, high=50.0, edge=0.6, noise=0.0, height=cords, lean=None, seed=3, name="panel"):
    """Return a scan over a form.

    `lean` moves the scan along u without moving what it is a relief of: places (k, 2) -> shifts (k,), so that it leans
    back where the shift falls by more than one for one.
    """
    places, faces = sheet(wide, high, edge, seed=seed)
    tall = height(*places.T)
    flat = places if lean is None else places + np.stack([lean(places), np.zeros(len(places))], axis=1)
    rng = np.random.default_rng(seed)
    tall = tall + rng.normal(0.0, noise, len(tall))
    feet, normal, said = FORMS[kind](*flat.T)
    surface = Surface(feet + tall[:, None] * normal, faces, source=Source(file=f"{name}.ply"))
    region = select(surface, name=name)
    order = _order(surface, region)
    laid = replace(region, vertices=feet[order])
    base = Base(kind, laid, tall[order], np.abs(height(*places.T))[order] < 1e-9, noise, True, "known", said)
    return Based(base, surface, flat[order], height)


def _order(surface, region):
    corner = np.argmax(region.barycentric, axis=1)
    return surface.faces[region.vertex_parent, corner]


def aligned(points, onto):
    """Return the rigid motion of the plane, (turn, shift), that lays points best on others (Kabsch 1976)."""
    one, other = points - points.mean(axis=0), onto - onto.mean(axis=0)
    u, _, vt = np.linalg.svd(one.T @ other)
    turn = u @ np.diag([1.0, np.linalg.det(u @ vt)]) @ vt
    return turn, onto.mean(axis=0) - points.mean(axis=0) @ turn
