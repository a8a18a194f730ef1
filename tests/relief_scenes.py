"""Scenes of relief with the truth known: ornament on a form, with scan noise; asked for by form and ornament.

    scene = relief_scene("cylinder", "coins")
    scene.region, scene.height, scene.base, scene.flat

Every vertex is a true place on the base, moved along the base's true normal by its true height and a Gaussian noise,
independent from point to point, or shared by neighbours as in fused scans (`range_edges`).
The DEM is the elevation grid of matplotlib's sample data (USGS, public domain); "real" is the flank of the Stanford
bunny (pymeshfix wheel; Stanford 3D Scanning Repository, free use with credit), its waves under 35 mm or so taken off.
"""

from __future__ import annotations

import importlib.metadata
from dataclasses import dataclass
from functools import cache

import numpy as np
from meshes import whole_region

from meshflow.model.region import Region
from meshflow.relief.ground import averaging

BASES = ("plane", "cylinder", "cone", "sphere", "ellipsoid", "real")
ORNAMENTS = ("cords", "coins", "rosette", "dem")
WIDE, HIGH = 90.0, 70.0


@dataclass(frozen=True, eq=False)
class Scene:
    """A scan with its truth: `height` (n,), `base` (n, 3), `normal` (n, 3), `uv` (n, 2); `flat` (n, 2) or None."""

    region: Region
    height: np.ndarray  # true, without the noise
    base: np.ndarray
    normal: np.ndarray
    uv: np.ndarray  # where the ornament's functions are asked
    flat: np.ndarray | None  # true development, where there is one


def relief_scene(
    base, ornament, *, edge=0.6, noise=0.03, seed=7, wide=WIDE, high=HIGH, scale=1.0, range_edges=0.0
) -> Scene:
    """Return ornament on a form; either is a name or a function of u and v [mm], no ornament (None) a bare form.

    Noise that neighbours share is independent noise averaged over neighbours until its autocorrelation is a bell of the
    standard deviation `range_edges` [edges], brought to the same spread `noise` [mm].
    """
    uv, faces = uneven_sheet(wide, high, edge, seed=seed)
    place, normal = (FORMS[base] if isinstance(base, str) else base)(*uv.T)
    function = (
        {None: lambda u, v: 0.0 * u}.get(ornament, ornament) if not isinstance(ornament, str) else HEIGHTS[ornament]
    )
    height = scale * function(*uv.T)
    rough = height + noise * shared_noise(faces, len(height), range_edges, seed=seed + 1) if noise else height
    region = whole_region(place + rough[:, None] * normal, faces, name=f"{base}-{ornament}")
    return Scene(region, height, place, normal, uv, uv if base in ("plane", "cylinder", "cone") else None)


def shared_noise(faces, count, range_edges, *, seed):
    """Return noise of spread 1 that neighbours share, shape (count,)."""
    values = np.random.default_rng(seed).normal(0.0, 1.0, count)
    near = averaging(faces, count)
    rounds = round(range_edges**2 * 7 / 6)  # a mean over 7 points spreads by 3/7 edge^2 each way, twice that correlates
    for _ in range(rounds):
        values = near @ values
    return values / values.std() if rounds else values


def uneven_sheet(wide, high, edge, *, seed=7):
    """A rectangle about (0, 0) of uneven triangles: places and faces."""
    columns, rows = round(wide / edge) + 1, round(high / edge) + 1
    u, v = np.meshgrid(np.linspace(-wide / 2, wide / 2, columns), np.linspace(-high / 2, high / 2, rows))
    jitter = np.random.default_rng(seed).uniform(-0.25, 0.25, (2, rows, columns)) * edge
    jitter[:, [0, -1], :] = jitter[:, :, [0, -1]] = 0.0
    at = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], axis=2).reshape(-1, 3), np.stack([a, c, d], axis=2).reshape(-1, 3)])
    return np.stack([u + jitter[0], v + jitter[1]], axis=2).reshape(-1, 2), faces


# ------------------------------------------------------------------------------------------------------- ornaments


def cords(u, v, *, high=1.5, half=2.0):
    """Five half-round cords (half ellipses across), wavy along u."""
    height = np.zeros_like(u)
    for number in range(-2, 3):
        slope = 4.0 * (2 * np.pi / 45.0) * np.cos(2 * np.pi * u / 45.0 + number)
        away = (v - 13.0 * number - 4.0 * np.sin(2 * np.pi * u / 45.0 + number)) / np.hypot(1.0, slope)
        height = np.maximum(height, high * np.sqrt(np.clip(1.0 - (away / half) ** 2, 0.0, 1.0)))
    return height


def coins(u, v, *, high=2.0, radius=8.0, flank=1.6, apart=19.0):
    """Flat-topped discs with a soft flank, in rows set off by half: 64 % of the area by their feet."""
    row = apart * np.sqrt(0.75)
    away = np.full(u.shape, np.inf)
    for shift in (0, 1):
        x = u - 0.5 * shift * apart - 3.0
        y = v - shift * row - 2.0
        x, y = x - apart * np.rint(x / apart), y - 2 * row * np.rint(y / (2 * row))
        away = np.minimum(away, np.hypot(x, y))
    t = np.clip((radius - away) / flank, 0.0, 1.0)
    return high * t * t * (3.0 - 2.0 * t)


def rosette(u, v, *, high=2.0, leaves=8, radius=30.0):
    """Eight leaves round a boss, in a ring bead."""
    r, a = np.hypot(u, v), np.arctan2(v, u)
    wide = np.abs(np.cos(0.5 * leaves * a)) * np.sin(np.pi * np.clip((r - 7.0) / (radius - 10.0), 0.0, 1.0))
    leaf = 0.8 * high * np.clip(1.0 - ((1.0 - wide) / 0.6) ** 2, 0.0, 1.0)
    boss = high * np.sqrt(np.clip(1.0 - (r / 5.0) ** 2, 0.0, 1.0))
    bead = 0.5 * high * np.sqrt(np.clip(1.0 - ((r - radius) / 1.8) ** 2, 0.0, 1.0))
    return np.maximum(np.maximum(leaf, boss), bead)


@cache
def _dem():
    from matplotlib.cbook import get_sample_data
    from scipy.interpolate import RectBivariateSpline

    with get_sample_data("jacksboro_fault_dem.npz") as grid:
        z = grid["elevation"].astype(float)
    z = (z - z.min()) / np.ptp(z)
    return RectBivariateSpline(np.linspace(-0.5, 0.5, z.shape[0]), np.linspace(-0.5, 0.5, z.shape[1]), z, kx=1, ky=1)


def dem(u, v, *, high=2.0):
    """Hills and valleys all over: no ground is seen."""
    return high * _dem()(v / (HIGH * 1.02), u / (WIDE * 1.02), grid=False)


HEIGHTS = {"cords": cords, "coins": coins, "rosette": rosette, "dem": dem}

# ----------------------------------------------------------------------------------------------------------- forms


def on_plane(u, v):
    """A plane askew in space."""
    normal = np.array([0.36, -0.48, 0.8])
    first = np.array([0.8, 0.0, -0.36]) / np.hypot(0.8, 0.36)
    place = 40.0 * normal + u[:, None] * first + v[:, None] * np.cross(normal, first)
    return place, np.broadcast_to(normal, place.shape)


def on_cylinder(u, v, *, radius=70.0):
    """A cylinder about the z axis."""
    turn = u / radius
    normal = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)], axis=1)
    return radius * normal + v[:, None] * np.array([0.0, 0.0, 1.0]), normal


def on_cone(u, v, *, away=140.0):
    """A cone about the z axis, its apex above at the origin; v runs up the slant."""
    s, c = np.sin(np.radians(25.0)), np.cos(np.radians(25.0))
    slant, turn = np.hypot(u, away - v), np.arctan2(u, away - v) / s
    place = slant[:, None] * np.stack([s * np.cos(turn), s * np.sin(turn), np.full_like(turn, -c)], axis=1)
    return place, np.stack([c * np.cos(turn), c * np.sin(turn), np.full_like(turn, s)], axis=1)


def on_sphere(u, v, *, radius=75.0):
    """A ball about (10, -20, 5)."""
    r = np.hypot(u, v)
    bent, safe = r / radius, np.maximum(r, 1e-12)
    normal = np.stack([np.sin(bent) * u / safe, np.sin(bent) * v / safe, np.cos(bent)], axis=1)
    return radius * normal + np.array([10.0, -20.0, 5.0]), normal


def on_ellipsoid(u, v, *, a=110.0, b=80.0, c=70.0):
    """The top of an ellipsoid about the origin."""
    z = c * np.sqrt(1.0 - (u / a) ** 2 - (v / b) ** 2)
    normal = np.stack([u / a**2, v / b**2, z / c**2], axis=1)
    return np.stack([u, v, z], axis=1), normal / np.linalg.norm(normal, axis=1, keepdims=True)


def real_scan_is_here() -> bool:
    """Whether the package that carries the scan is installed."""
    return _scan_file() is not None


def _scan_file():
    try:
        files = importlib.metadata.files("pymeshfix") or []
    except importlib.metadata.PackageNotFoundError:
        return None
    return next((file.locate() for file in files if file.name == "StanfordBunny.ply"), None)


@cache
def _flank():
    from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator, RectBivariateSpline
    from scipy.ndimage import gaussian_filter

    from meshflow.geometry.triangles import vertex_normals
    from meshflow.mesh.read import read_mesh

    scan = read_mesh(_scan_file(), units="cm")
    points = np.stack([scan.vertices[:, 0], scan.vertices[:, 2], -scan.vertices[:, 1]], axis=1)  # the flank looks to +z
    normal = vertex_normals(points, scan.faces)
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    seed = points[np.argmin(np.linalg.norm(points - (low + size * np.array([0.65, 0.25, 1.0])), axis=1))]
    # heights over x and y; where the scan ends, the nearest height goes on
    side = (normal[:, 2] > 0.3) & (np.abs(points - seed)[:, 0] < 60) & (np.abs(points - seed)[:, 1] < 50)
    side &= points[:, 2] > seed[2] - 35.0
    x, y = np.linspace(-60, 60, 121), np.linspace(-50, 50, 101)
    at = np.meshgrid(x, y, indexing="ij")
    z = LinearNDInterpolator((points[side] - seed)[:, :2], points[side, 2])(*at)
    near = NearestNDInterpolator((points[side] - seed)[:, :2], points[side, 2])(*at)
    z = gaussian_filter(np.where(np.isfinite(z), z, near) - seed[2], 8.0, mode="nearest")
    return RectBivariateSpline(x, y, z, kx=5, ky=5)


def on_real(u, v):
    """The flank of the bunny, smoothed."""
    spline = _flank()
    z, zx, zy = (spline(u, v, dx=i, dy=j, grid=False) for i, j in ((0, 0), (1, 0), (0, 1)))
    normal = np.stack([-zx, -zy, np.ones_like(zx)], axis=1)
    return np.stack([u, v, z], axis=1), normal / np.linalg.norm(normal, axis=1, keepdims=True)


FORMS = {
    "plane": on_plane,
    "cylinder": on_cylinder,
    "cone": on_cone,
    "sphere": on_sphere,
    "ellipsoid": on_ellipsoid,
    "real": on_real,
}
