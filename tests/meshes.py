"""Meshes asked for by property, for tests. All lengths in millimetres; every builder returns (vertices, faces).

Faces are counter-clockwise seen from the outside (away from the axis, the centre, or from +z).
"""

from __future__ import annotations

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.pattern import Distortion, Edge, FlatPattern, Limits, Seam, Verdict
from meshflow.model.region import Region
from meshflow.model.surface import Surface

Mesh = tuple[FloatArray, IntArray]


def grid_faces(across: int, up: int, *, closed: bool = False) -> IntArray:
    """Two triangles a cell for vertices numbered row by row, `across` vertices in each of `up` rows."""
    column, row = np.meshgrid(np.arange(across if closed else across - 1), np.arange(up - 1))
    a = (row * across + column).ravel()
    b = (row * across + (column + 1) % across).ravel()
    c, d = b + across, a + across
    return np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int64)


def developable_cylinder(
    radius: float = 50.0, angle: float = np.radians(270), height: float = 80.0, around: int = 91, up: int = 21
) -> Mesh:
    """An open cylinder wall: unrolls to a rectangle of width 2 R n sin(angle / 2n), n = around - 1 facets."""
    phi, z = np.meshgrid(np.linspace(0, angle, around), np.linspace(0, height, up))
    vertices = np.stack([radius * np.cos(phi), radius * np.sin(phi), z], axis=2).reshape(-1, 3)
    return vertices, grid_faces(around, up)


def developable_cone(
    half_apex: float = np.radians(30),
    angle: float = np.radians(350),
    slant: float = 100.0,
    slant_top: float = 20.0,
    around: int = 91,
    up: int = 17,
) -> Mesh:
    """A frustum wall, apex at the origin, opening downwards: unrolls to a sector of its slant height."""
    phi, s = np.meshgrid(np.linspace(0, angle, around), np.linspace(slant, slant_top, up))
    r = s * np.sin(half_apex)
    vertices = np.stack([r * np.cos(phi), r * np.sin(phi), -s * np.cos(half_apex)], axis=2).reshape(-1, 3)
    return vertices, grid_faces(around, up)


def oblique_cone(
    apex: tuple[float, float, float] = (60.0, 0.0, 120.0),
    radius: float = 40.0,
    angle: float = np.radians(352.8),
    around: int = 121,
) -> Mesh:
    """A fan of triangles from an apex that is not above the centre; developed by triangulation in the trade."""
    phi = np.linspace(0, angle, around)
    base = np.stack([radius * np.cos(phi), radius * np.sin(phi), np.zeros_like(phi)], axis=1)
    vertices = np.concatenate([[apex], base])
    index = np.arange(1, around)
    return vertices, np.stack([np.zeros_like(index), index, index + 1], axis=1).astype(np.int64)


def spherical_cap(radius: float = 1.0, half_angle: float = np.radians(60), rings: int = 20) -> Mesh:
    """A cap round the pole in rings of 6, 12, 18 ... vertices, evenly spaced along the meridian."""
    rows = [np.zeros((1, 2))]
    for ring in range(1, rings + 1):
        phi = np.arange(6 * ring) * (2 * np.pi / (6 * ring))
        rows.append(np.stack([np.full(6 * ring, half_angle * ring / rings), phi], axis=1))
    polar = np.concatenate(rows)
    sine = np.sin(polar[:, 0])
    vertices = radius * np.stack([sine * np.cos(polar[:, 1]), sine * np.sin(polar[:, 1]), np.cos(polar[:, 0])], 1)
    return vertices, _disk_faces(rings)


def flat_disk(radius: float = 50.0, rings: int = 10) -> Mesh:
    """A flat disk in rings, facing +z."""
    vertices, faces = spherical_cap(1.0, np.radians(60), rings)
    angle = np.arctan2(vertices[:, 1], vertices[:, 0])
    r = radius * np.arccos(np.clip(vertices[:, 2], -1, 1)) / np.radians(60)
    return np.stack([r * np.cos(angle), r * np.sin(angle), np.zeros_like(r)], axis=1), faces


def _disk_faces(rings: int) -> IntArray:
    faces = []
    first_inner, inner_count = 0, 1
    for ring in range(1, rings + 1):
        first, count = first_inner + inner_count, 6 * ring
        for sector in range(6):
            for k in range(ring):
                a = first + sector * ring + k
                b = first + (sector * ring + k + 1) % count
                inner = first_inner + (sector * (ring - 1) + k) % inner_count
                faces.append((inner, a, b))
                if k < ring - 1:
                    after = first_inner + (sector * (ring - 1) + k + 1) % inner_count
                    faces.append((inner, b, after))
        first_inner, inner_count = first, count
    return np.array(faces, dtype=np.int64)


def saddle(half: float = 40.0, twist: float = 60.0, count: int = 41) -> Mesh:
    """The saddle z = x y / twist over a square of half side `half`."""
    x, y = np.meshgrid(np.linspace(-half, half, count), np.linspace(-half, half, count))
    return np.stack([x, y, x * y / twist], axis=2).reshape(-1, 3), grid_faces(count, count)


def ring_band(radius: float = 60.0, height: float = 30.0, around: int = 120, up: int = 13) -> Mesh:
    """A closed band: two boundary loops."""
    phi, z = np.meshgrid(np.arange(around) * (2 * np.pi / around), np.linspace(0, height, up))
    vertices = np.stack([radius * np.cos(phi), radius * np.sin(phi), z], axis=2).reshape(-1, 3)
    return vertices, grid_faces(around, up, closed=True)


def closed_box(size: tuple[float, float, float] = (40.0, 30.0, 20.0)) -> Mesh:
    """A closed box with outward faces."""
    vertices = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64) * size
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    faces = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return vertices, np.array(faces, dtype=np.int64)


def closed_torus(major: float = 60.0, minor: float = 20.0, around: int = 60, about: int = 30) -> Mesh:
    """A closed ring with one handle."""
    u, v = np.meshgrid(np.arange(around) * 2 * np.pi / around, np.arange(about) * 2 * np.pi / about)
    r = major + minor * np.cos(v)
    vertices = np.stack([r * np.cos(u), r * np.sin(u), minor * np.sin(v)], axis=2).reshape(-1, 3)
    row = np.arange(around * about).reshape(about, around)
    a, b = row, np.roll(row, -1, 1)
    c, d = np.roll(b, -1, 0), np.roll(row, -1, 0)
    faces = np.concatenate([np.stack([a, b, c], 2).reshape(-1, 3), np.stack([a, c, d], 2).reshape(-1, 3)])
    return vertices, faces.astype(np.int64)


def rough(vertices: FloatArray, faces: IntArray, sigma: float, seed: int = 0) -> FloatArray:
    """Scan noise: each vertex moved along its normal by a Gaussian of standard deviation `sigma`."""
    from meshflow.geometry.triangles import vertex_normals

    shift = np.random.default_rng(seed).normal(0.0, sigma, len(vertices))
    return vertices + shift[:, None] * vertex_normals(vertices, faces)


def turned(vertices: FloatArray, seed: int = 0, shift: float = 100.0) -> FloatArray:
    """The same shape moved rigidly to some other place."""
    random = np.random.default_rng(seed)
    q, r = np.linalg.qr(random.normal(size=(3, 3)))
    q *= np.sign(np.diag(r))
    if np.linalg.det(q) < 0:
        q[:, 0] *= -1
    return vertices @ q.T + random.normal(size=3) * shift


def whole_region(vertices: FloatArray, faces: IntArray, *, name: str = "piece", **fields: object) -> Region:
    """All faces of a mesh as a region; for tests that start after selection."""
    surface = Surface(vertices, faces)
    parent = np.zeros(len(vertices), dtype=np.int64)
    bary = np.zeros((len(vertices), 3))
    for corner in (2, 1, 0):
        parent[faces[:, corner]] = np.arange(len(faces))
    for corner in range(3):
        hit = faces[parent, corner] == np.arange(len(vertices))
        bary[hit] = np.eye(3)[corner]
    return Region(name, surface, vertices, faces, np.arange(len(faces)), parent, bary, **fields)  # type: ignore[arg-type]


def cone_band(
    half_apex: float = np.radians(30), slant: float = 100.0, slant_top: float = 20.0, around: int = 90, up: int = 17
) -> Mesh:
    """A cone frustum wall closed all round, apex at the origin, opening downwards: two boundary loops."""
    phi, s = np.meshgrid(np.arange(around) * (2 * np.pi / around), np.linspace(slant, slant_top, up))
    r = s * np.sin(half_apex)
    vertices = np.stack([r * np.cos(phi), r * np.sin(phi), -s * np.cos(half_apex)], axis=2).reshape(-1, 3)
    return vertices, grid_faces(around, up, closed=True)


def washer(outer: float = 50.0, inner: float = 20.0, around: int = 90, up: int = 11) -> Mesh:
    """A flat ring facing +z: two boundary loops, and it lies flat uncut."""
    return cone_band(np.radians(90), outer, inner, around, up)


def folded_strip(
    leg: float = 40.0, width: float = 30.0, turn: float = np.radians(90), along: int = 9, across: int = 7
) -> Mesh:
    """Two flat legs of a strip that meet in one sharp fold along y; the outside of the fold looks up and out."""
    x = np.concatenate([np.linspace(-leg, 0, along), np.linspace(0, leg, along)[1:]])
    s, y = np.meshgrid(x, np.linspace(0, width, across))
    far = np.maximum(s, 0)
    vertices = np.stack([np.minimum(s, 0) + far * np.cos(turn), y, -far * np.sin(turn)], axis=2).reshape(-1, 3)
    return vertices, grid_faces(len(x), across)


def laid_flat(
    vertices: FloatArray,
    faces: IntArray,
    *,
    flat: FloatArray | None = None,
    edges: tuple[Edge, ...] = (),
    seams: tuple[Seam, ...] = (),
    grain_rad: float | None = None,
    **fields: object,
) -> FlatPattern:
    """A pattern whose flat shape is known: `flat`, or a flat mesh as it is; for tests that start after flattening.

    Without `edges` the longest boundary loop (by extent) is the rim and the others are holes.
    """
    from meshflow.geometry.topology import boundary_loops
    from meshflow.geometry.triangles import face_areas

    flat = vertices[:, :2] if flat is None else flat
    if not edges:
        loops = sorted(boundary_loops(faces), key=lambda loop: -np.ptp(flat[loop], axis=0).sum())
        names = ["rim", *(f"hole-{number}" for number in range(1, len(loops)))]
        edges = tuple(Edge(name, loop, n, closed=True) for n, (name, loop) in enumerate(zip(names, loops, strict=True)))
    ones, areas = np.ones(len(faces)), np.abs(face_areas(vertices, faces))
    distortion = Distortion(ones, ones, areas, areas, 0.0, 0.0, 0, False, 0.0, np.inf)
    region = whole_region(vertices, faces, **fields)  # type: ignore[arg-type]
    return FlatPattern(region, flat, distortion, Limits(), Verdict.LIES_FLAT, edges, seams, grain_rad)


def closed_ball(radius: float = 25.0, halvings: int = 2) -> Mesh:
    """An icosahedron with its edges halved and pushed out to the sphere: 20 * 4^halvings outward faces."""
    t = (1.0 + np.sqrt(5.0)) / 2.0
    corners = [[-1, t, 0], [1, t, 0], [-1, -t, 0], [1, -t, 0], [0, -1, t], [0, 1, t]]
    corners += [[0, -1, -t], [0, 1, -t], [t, 0, -1], [t, 0, 1], [-t, 0, -1], [-t, 0, 1]]
    faces = np.array(
        [
            *([0, 11, 5], [0, 5, 1], [0, 1, 7], [0, 7, 10], [0, 10, 11], [1, 5, 9], [5, 11, 4], [11, 10, 2]),
            *([10, 7, 6], [7, 1, 8], [3, 9, 4], [3, 4, 2], [3, 2, 6], [3, 6, 8], [3, 8, 9], [4, 9, 5]),
            *([2, 4, 11], [6, 2, 10], [8, 6, 7], [9, 8, 1]),
        ],
        dtype=np.int64,
    )
    vertices = np.array(corners, dtype=np.float64)
    for _ in range(halvings):
        sides = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2).reshape(-1, 2)
        pairs, inverse = np.unique(sides, axis=0, return_inverse=True)
        ab, bc, ca = (len(vertices) + inverse.reshape(-1, 3)).T
        vertices = np.concatenate([vertices, vertices[pairs].mean(axis=1)])
        a, b, c = faces.T
        faces = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return radius * vertices / np.linalg.norm(vertices, axis=1, keepdims=True), faces


def enclosed_volume(vertices: FloatArray, faces: IntArray) -> float:
    """Volume inside a closed mesh, positive when its faces look outwards (divergence theorem)."""
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def lopsided_blob(halvings: int = 4) -> Mesh:
    """A closed smooth lump of about 130 x 100 x 80 mm that no turn and no mirror brings onto itself."""
    vertices, faces = closed_ball(50.0, halvings)
    x, y, z = vertices.T / 50.0
    reach = 1 + 0.25 * x + 0.2 * y * z + 0.15 * x**2 * y - 0.1 * z**3 + 0.3 * x * y * z
    return vertices * reach[:, None] * np.array([1.3, 1.0, 0.8]), faces


def mirrored_blob(halvings: int = 4) -> Mesh:
    """A closed smooth lump of about 130 x 100 x 80 mm, symmetric about y = 0 and about no other plane."""
    vertices, faces = closed_ball(50.0, halvings)
    x, y, z = vertices.T / 50.0
    reach = 1 + 0.25 * x + 0.3 * y**2 * z + 0.15 * x**2 * z - 0.1 * z**3
    return vertices * reach[:, None] * np.array([1.3, 1.0, 0.8]), faces


def stepped_block(
    steps: int = 4, tread: int = 6, width: int = 18, side: float = 2.0
) -> tuple[FloatArray, IntArray, IntArray]:
    """A stair, sheared and bowed: a drawn solid of 2 * steps + 4 patches, all creases over 50 degrees.

    Returns vertices, faces, and the patch of each face. Diagonals run either way at random.
    """
    height = np.repeat(np.arange(steps, 0, -1) * tread, tread)
    solid = np.arange(steps * tread)[None, None, :] < height[:, None, None]
    solid = np.pad(np.repeat(solid, width, axis=1), 1)
    ids: dict[tuple[int, int, int], int] = {}
    quads, patches, marks = [], [], {}
    for axis in range(3):
        for way in (-1, 1):
            open_side = solid & ~np.roll(solid, -way, axis=axis)
            for cell in np.argwhere(open_side).tolist():
                low = np.array(cell)
                low[axis] += way > 0
                u, v = np.eye(3, dtype=int)[[(axis + 1) % 3, (axis + 2) % 3]]
                ring = [low, low + u, low + u + v, low + v][:: 1 if way > 0 else -1]
                quads.append([ids.setdefault(tuple(corner.tolist()), len(ids)) for corner in ring])
                patches.append(marks.setdefault((axis, way, int(low[axis])), len(marks)))
    turn = np.random.default_rng(5).integers(0, 2, len(quads))
    a, b, c, d = np.where(turn[:, None], np.roll(quads, 1, axis=1), np.array(quads)).T
    faces = np.stack([a, b, c, a, c, d], axis=1).reshape(-1, 3)
    x, y, z = side * (np.array(list(ids)) - 1.0).T
    middle = y - 0.5 * side * width
    bowed = np.stack([x + 0.3 * z, middle + 0.02 * x, z + 0.008 * middle**2], axis=1)
    return bowed, faces, np.repeat(patches, 2)


def shaken(vertices: FloatArray, faces: IntArray, share: float, seed: int = 0, *, harsh: bool = False) -> FloatArray:
    """Vertices moved any way, by a Gaussian of this share of the mean side; harsh: on each axis."""
    ends = np.unique(np.sort(np.stack([faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)], axis=1)), axis=0)
    side = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1).mean()
    random = np.random.default_rng(seed)
    shift = random.normal(size=vertices.shape)
    if not harsh:
        shift *= random.normal(size=(len(vertices), 1)) / np.linalg.norm(shift, axis=1, keepdims=True)
    return np.asarray(vertices + share * side * shift)


def grooved_plate(radius: float, half: float = 15.0, length: float = 20.0, count: int = 16, rows: int = 9) -> Mesh:
    """A round trough of 180 degrees between two flat lands, open at the top; +z is the outside."""
    turn = np.linspace(np.pi, 2 * np.pi, count + 1)
    x = np.concatenate([-radius - np.linspace(half, 0, 7)[:-1], radius * np.cos(turn)])
    x = np.concatenate([x, radius + np.linspace(0, half, 7)[1:]])
    z = np.concatenate([np.zeros(6), radius * np.sin(turn), np.zeros(6)])
    y = np.repeat(np.linspace(0, length, rows), len(x))
    return np.stack([np.tile(x, rows), y, np.tile(z, rows)], axis=1), grid_faces(len(x), rows)


def drawn_cup(diameter: float = 50.0, height: float = 30.0, rings: int = 32) -> Mesh:
    """A flat-bottomed cup in rings of even width along the meridian, one of them at the sharp edge of the bottom."""
    vertices, faces = spherical_cap(1.0, np.radians(60), rings)
    angle = np.arctan2(vertices[:, 1], vertices[:, 0])
    ring = np.rint(rings * np.arccos(np.clip(vertices[:, 2], -1, 1)) / np.radians(60))
    bottom = round(rings * 0.5 * diameter / (0.5 * diameter + height))
    r = 0.5 * diameter * np.minimum(ring / bottom, 1.0)
    z = height * (np.maximum(ring, bottom) - bottom) / (rings - bottom)
    return np.stack([r * np.cos(angle), r * np.sin(angle), -z], axis=1), faces


def helix_developable(
    radius: float = 20.0,
    pitch: float = 10.0,
    turn: float = np.radians(200),
    near: float = 8.0,
    far: float = 40.0,
    around: int = 61,
    along: int = 2,
) -> Mesh:
    """The tangents of a helix (radius cos t, radius sin t, pitch t), from `near` to `far` mm from it.

    Vertices stand on the rulings; with two on each every vertex lies on the rim and the mesh itself unrolls exactly.
    """
    t = np.linspace(0.0, turn, around)
    curve = np.stack([radius * np.cos(t), radius * np.sin(t), pitch * t], axis=1)
    ruling = np.stack([-radius * np.sin(t), radius * np.cos(t), np.full(around, pitch)], axis=1)
    ruling /= np.hypot(radius, pitch)
    reach = np.linspace(near, far, along)[:, None, None]
    return (curve + reach * ruling).reshape(-1, 3), grid_faces(around, along)
