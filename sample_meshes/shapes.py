"""The true shapes of the demo: six pieces of an invented travelling carousel. Millimetres, no noise.

Each builder returns vertices (n, 3), faces (m, 3) counter-clockwise from outside, and named groups of faces.
"""

from __future__ import annotations

import numpy as np

Shape = tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]

PANEL_RADIUS, PANEL_WIDTH, PANEL_HEIGHT, PANEL_OVAL = 180.0, 300.0, 240.0, (85.0, 65.0)
FINIAL_HALF_APEX, FINIAL_TOP, FINIAL_RIM, FINIAL_SCALLOP, FINIAL_LOBES = np.radians(25.0), 90.0, 220.0, 14.0, 12
SKIRT_HALF, SKIRT_RADII, SKIRT_POWER = (210.0, 140.0), (260.0, 900.0), 2.5
PLATE_AXES, PLATE_ANGLE = (120.0, 95.0, 70.0), np.radians(60.0)
STRAP_AXES, STRAP_HEIGHT, STRAP_APEX = (150.0, 115.0), 60.0, 700.0
CASING_RADIUS, CASING_CELL, CASING_CELLS = 140.0, 6.0, (49, 30)  # mm; columns round the pole, rows up it
CASING_FOOT = (28, 36, 12, 18)  # first and last column, first and last row of the bracket's foot
PATCH_LINE = [(15.0, -58.0, 0.0), (125.0, -58.0, 1.0), (125.0, -2.0, 0.0), (15.0, -2.0, 1.0)]  # x, y, bulge

# A side of leather lying grain side up: the backbone along the top, the neck to the left, shanks and belly below.
SIDE_CORNERS = [(10, 690), (70, 815), (230, 845), (900, 850), (1500, 850), (1660, 835), (1695, 740), (1685, 560)]
SIDE_CORNERS += [(1650, 400), (1625, 230), (1585, 60), (1500, 25), (1445, 130), (1370, 245), (1120, 190), (820, 165)]
SIDE_CORNERS += [(585, 195), (480, 110), (405, 25), (320, 60), (300, 240), (215, 375), (90, 440), (15, 550)]


def leather_side() -> list[tuple[str, bool, list[tuple[float, float, float]]]]:
    """Return layer, whether it is closed, and rows of x, y, bulge of each line drawn on a side of leather."""
    corners = np.array(SIDE_CORNERS, dtype=np.float64)
    before, after, next_after = (np.roll(corners, -k, axis=0) for k in (-1, 1, 2))
    share = (np.arange(6) / 6.0)[:, None, None]
    # The smooth curve through the corners whose slope at each is that of the line between its neighbours.
    along, ahead = 0.5 * (after - before), 0.5 * (next_after - corners)
    rise = 3.0 * (after - corners) - 2.0 * along - ahead
    edge = corners + share * (along + share * (rise + share * (along + ahead - 2.0 * (after - corners))))
    outline = [(float(x), float(y), 0.0) for x, y in edge.transpose(1, 0, 2).reshape(-1, 2).round(1)]
    brand = [(1330.0, 560.0, 1.0), (1420.0, 560.0, 1.0)]
    hole = [(976.0, 430.0, 1.0), (988.0, 430.0, 1.0)]
    scratch = [(690.0, 655.0, 0.0), (775.0, 640.0, 0.0), (860.0, 605.0, 0.0)]
    belly = [(0.0, 0.0, 0.0), (1720.0, 0.0, 0.0), (1720.0, 320.0, 0.0), (0.0, 320.0, 0.0)]
    return [
        ("HIDE", True, outline),
        ("BRAND", True, brand),
        ("HOLE", True, hole),
        ("SCRATCH", False, scratch),
        ("GRADE_2", True, belly),
        ("BACKBONE", False, [(230.0, 840.0, 0.0), (1500.0, 840.0, 0.0)]),
    ]


def ring_faces(rings: int) -> np.ndarray:
    """Return the triangles of a disk whose ring k has 6 k vertices round one in the middle."""
    faces: list[tuple[int, int, int]] = []
    inner, inner_count = 0, 1
    for ring in range(1, rings + 1):
        first, count = inner + inner_count, 6 * ring
        for sector in range(6):
            for k in range(ring):
                at = sector * ring + k
                near = inner + (sector * (ring - 1) + k) % inner_count
                faces.append((near, first + at, first + (at + 1) % count))
                if k < ring - 1:
                    after = inner + (sector * (ring - 1) + k + 1) % inner_count
                    faces.append((near, first + (at + 1) % count, after))
        inner, inner_count = first, count
    return np.array(faces)


def ring_places(rings: int) -> tuple[np.ndarray, np.ndarray]:
    """Return ring number and angle of each vertex of such a disk."""
    ring = np.concatenate([[0], *[np.full(6 * k, k) for k in range(1, rings + 1)]])
    angle = np.concatenate([[0.0], *[np.arange(6 * k) * (2 * np.pi / (6 * k)) for k in range(1, rings + 1)]])
    return ring.astype(float), angle


def band_faces(around: int, rows: int) -> np.ndarray:
    """Return the triangles of a closed band of `rows` rows with `around` vertices each."""
    column, row = np.meshgrid(np.arange(around), np.arange(rows - 1))
    a, b = (row * around + column).ravel(), (row * around + (column + 1) % around).ravel()
    c, d = b + around, a + around
    return np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def uneven(angle: np.ndarray, share: float, seed: int) -> np.ndarray:
    """Return angles moved at random by up to a share of their spacing, as a scanner's triangles are uneven."""
    return angle + np.random.default_rng(seed).uniform(-share, share, angle.shape)


def saddle_skirt(rings: int = 30, beyond: int = 3) -> Shape:
    """Return a gently doubly curved skirt for a carousel horse: label 1 is the skirt, 0 what lies round it."""
    ring, angle = ring_places(rings + beyond)
    angle = np.where(ring == rings, angle, angle + uneven(0 * angle, 0.3, 1) * np.pi / (3 * np.maximum(ring, 1)))
    cosine, sine = np.cos(angle), np.sin(angle)
    reach = (np.abs(cosine) ** SKIRT_POWER + np.abs(sine) ** SKIRT_POWER) ** (-1 / SKIRT_POWER)
    x, y = (half * ring / rings * reach * part for half, part in zip(SKIRT_HALF, (cosine, sine), strict=True))
    z = -(x**2) / (2 * SKIRT_RADII[0]) - y**2 / (2 * SKIRT_RADII[1])
    faces = ring_faces(rings + beyond)
    inside = ring[faces].max(axis=1) <= rings
    return np.stack([x, y, z], 1), faces, {"1": np.flatnonzero(inside), "0": np.flatnonzero(~inside)}


def skirt_paint(vertices: np.ndarray) -> np.ndarray:
    """Return what is left of the old paint, red, green, blue: an oxblood ground, a cream border, a gold diamond."""
    (w, h), power = SKIRT_HALF, SKIRT_POWER
    x, y = np.abs(vertices[:, 0]) / w, np.abs(vertices[:, 1]) / h
    rim = (x**power + y**power) ** (1 / power)
    colours = np.full((len(vertices), 3), (112, 38, 34), dtype=np.uint8)
    colours[(rim > 0.74) & (rim < 0.86)] = (236, 222, 186)
    colours[(x + y < 0.42) & (x + y > 0.2)] = (196, 150, 62)
    return colours


def finial_slant(angle: np.ndarray) -> np.ndarray:
    """Return the slant from the apex to the scalloped rim [mm]."""
    return FINIAL_RIM + FINIAL_SCALLOP * np.abs(np.sin(0.5 * FINIAL_LOBES * angle))


def canopy_finial(around: int = 240, rows: int = 31) -> Shape:
    """Return a cone frustum, apex up, its lower rim cut in twelve scallops."""
    angle, share = np.meshgrid(np.arange(around) * 2 * np.pi / around, np.linspace(0, 1, rows))
    slant = FINIAL_TOP + share * (finial_slant(angle) - FINIAL_TOP)
    r, z = slant * np.sin(FINIAL_HALF_APEX), -slant * np.cos(FINIAL_HALF_APEX)
    vertices = np.stack([r * np.cos(angle), r * np.sin(angle), z], axis=2).reshape(-1, 3)
    return vertices, band_faces(around, rows)[:, ::-1], {}


def breast_plate(rings: int = 26, beyond: int = 4) -> Shape:
    """Return a strongly doubly curved plate, a cap of an ellipsoid, on a bit of the stand it was scanned on."""
    ring, angle = ring_places(rings + beyond)
    polar = PLATE_ANGLE * np.minimum(ring, rings) / rings
    a, b, c = PLATE_AXES
    flange = 1.0 + 0.06 * np.maximum(ring - rings, 0)
    vertices = np.stack(
        [
            a * np.sin(polar) * np.cos(angle) * flange,
            b * np.sin(polar) * np.sin(angle) * flange,
            c * np.cos(polar) - 1.0 * np.maximum(ring - rings, 0),
        ],
        axis=1,
    )
    faces = ring_faces(rings + beyond)
    inside = ring[faces].max(axis=1) <= rings
    return vertices, faces, {"plate": np.flatnonzero(inside), "stand": np.flatnonzero(~inside)}


def panel_flat(side: int = 40, rows: int = 15) -> tuple[np.ndarray, np.ndarray]:
    """Return the mirror-frame panel laid flat: a rectangle with an oval opening, (n, 2), and its faces."""
    step = np.arange(side) / side
    w, h = 0.5 * PANEL_WIDTH, 0.5 * PANEL_HEIGHT
    square = np.concatenate(
        [
            np.stack([w + 0 * step, -h + 2 * h * step], 1),
            np.stack([w - 2 * w * step, h + 0 * step], 1),
            np.stack([-w + 0 * step, h - 2 * h * step], 1),
            np.stack([-w + 2 * w * step, -h + 0 * step], 1),
        ]
    )
    angle = np.arctan2(square[:, 1] / h, square[:, 0] / w)
    oval = np.stack([PANEL_OVAL[0] * np.cos(angle), PANEL_OVAL[1] * np.sin(angle)], 1)
    share = np.linspace(0, 1, rows)[:, None, None]
    return (oval + share * (square - oval)).reshape(-1, 2), band_faces(4 * side, rows)


def mirror_panel() -> Shape:
    """Return a cylindrical panel with an oval opening for the mirror."""
    flat, faces = panel_flat()
    turn = flat[:, 0] / PANEL_RADIUS
    vertices = np.stack([PANEL_RADIUS * np.sin(turn), flat[:, 1], PANEL_RADIUS * np.cos(turn)], axis=1)
    return vertices, faces[:, ::-1], {}


def neck_strap(around: int = 200, rows: int = 10) -> Shape:
    """Return a ring-shaped strap on the horse's neck: a band of an elliptic cone."""
    angle, z = np.meshgrid(np.arange(around) * 2 * np.pi / around, np.linspace(0, STRAP_HEIGHT, rows))
    narrow = (STRAP_APEX - z) / STRAP_APEX
    vertices = np.stack(
        [STRAP_AXES[0] * narrow * np.cos(angle), STRAP_AXES[1] * narrow * np.sin(angle), z], axis=2
    ).reshape(-1, 3)
    return vertices, band_faces(around, rows), {}


def pole_casing() -> Shape:
    """Return a casing of the centre pole, a cylinder panel; `foot` is where a bracket hid it from the scanner."""
    across, up = CASING_CELLS
    column, row = (index.ravel() for index in np.meshgrid(np.arange(across + 1), np.arange(up + 1)))
    turn = (column - 0.5 * across) * CASING_CELL / CASING_RADIUS
    vertices = np.stack([CASING_RADIUS * np.sin(turn), CASING_CELL * row, CASING_RADIUS * np.cos(turn)], axis=1)
    column, row = (index.ravel() for index in np.meshgrid(np.arange(across), np.arange(up)))
    a = row * (across + 1) + column
    b, c, d = a + 1, a + across + 2, a + across + 1
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    left, right, low, high = CASING_FOOT
    foot = np.tile((column >= left) & (column < right) & (row >= low) & (row < high), 2)
    return vertices, faces, {"foot": np.flatnonzero(foot), "seen": np.flatnonzero(~foot)}
