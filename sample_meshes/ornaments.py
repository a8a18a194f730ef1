"""The true shapes of the demo's ornament: a struck rosette, a border strip and a cast boss. Millimetres, no noise.

Each height is a closed formula over the base, so that tests know the answer: the ornament stands on the base along its
normal.
"""

from __future__ import annotations

import numpy as np
from shapes import SKIRT_RADII, Shape, ring_faces, ring_places, uneven

ROSETTE_RADIUS, ROSETTE_DOME, ROSETTE_PETALS = 32.0, 160.0, 8  # mm; radius of the sphere it stands on
STRIP_LENGTH, STRIP_WIDTH, STRIP_PERIOD = 240.0, 28.0, 20.0
BOSS_HALF = (30.0, 24.0)


def bump(u: np.ndarray) -> np.ndarray:
    """Return a round hill: 1 in the middle, 0 with a soft foot at 1 and beyond."""
    return np.clip(1.0 - u**2, 0.0, None) ** 1.5


def petal(along: np.ndarray, across: np.ndarray, length: float, half: float) -> np.ndarray:
    """Return the height of a leaf from 0 to `length` along its axis, 1 where it is widest."""
    width = np.sin(np.pi * np.clip(along / length, 0.0, 1.0))
    return width * bump(across / np.maximum(half * width, 1e-9)) * ((along > 0) & (along < length))


def rosette_height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height of the rosette [mm] at arc lengths from its middle."""
    r, turn = np.hypot(x, y), np.arctan2(y, x)
    step = 2 * np.pi / ROSETTE_PETALS
    off = (turn + step / 2) % step - step / 2
    leaves = 1.1 * petal(r * np.cos(off) - 6.0, r * np.sin(off), 16.0, 4.2)
    return np.maximum.reduce([leaves, 0.7 * bump((r - 26.0) / 2.2), 1.3 * bump(r / 5.0)])


def strip_height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height of the border strip [mm]: a running wave with beads between two cords."""
    turn = 2 * np.pi * x / STRIP_PERIOD
    slope = 4.5 * 2 * np.pi / STRIP_PERIOD * np.cos(turn)
    wave = 1.0 * bump((y - 4.5 * np.sin(turn)) / np.hypot(1.0, slope) / 1.9)
    cords = 0.7 * bump((np.abs(y) - 9.6) / 1.5)
    up = (x - 0.75 * STRIP_PERIOD + STRIP_PERIOD / 2) % STRIP_PERIOD - STRIP_PERIOD / 2
    down = (x - 0.25 * STRIP_PERIOD + STRIP_PERIOD / 2) % STRIP_PERIOD - STRIP_PERIOD / 2
    beads = [0.9 * bump(np.hypot(side, y - at) / 2.2) for side, at in ((up, 4.0), (down, -4.0))]
    return np.maximum.reduce([wave, cords, *beads])


def boss_height(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the height of the saddle boss [mm]: a rim cord round a star of six rays and a button."""
    a, b = BOSS_HALF
    reach, turn = np.hypot(x / a, y / b), np.arctan2(y / b, x / a)
    step = np.pi / 3
    off = (turn + step / 2) % step - step / 2
    r = reach * 0.5 * (a + b)
    rays = 2.0 * petal(r * np.cos(off) - 4.0, r * np.sin(off), 16.0, 4.5)
    return np.maximum.reduce([rays, 1.6 * bump((reach - 0.86) / 0.09), 2.6 * bump(r / 6.0)])


def disk(rings: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return ring share 0 to 1, angle and faces of an unevenly meshed disk."""
    ring, angle = ring_places(rings)
    spread = np.where(ring == rings, 0.0, np.pi / (3 * np.maximum(ring, 1)))
    return ring / rings, angle + spread * uneven(0 * angle, 0.3, seed), ring_faces(rings)


def harness_rosette(rings: int = 46) -> Shape:
    """Return the rosette of a harness, struck in copper, on a gently domed ground: a bit of a sphere."""
    share, angle, faces = disk(rings, 21)
    arc = ROSETTE_RADIUS * share
    height = rosette_height(arc * np.cos(angle), arc * np.sin(angle))
    polar, out = arc / ROSETTE_DOME, ROSETTE_DOME + height
    x, y = out * np.sin(polar) * np.cos(angle), out * np.sin(polar) * np.sin(angle)
    return np.stack([x, y, out * np.cos(polar) - ROSETTE_DOME], 1), faces, {}


def frame_strip(pitch: float = 0.75) -> Shape:
    """Return a straight length of border of a mirror frame, twelve repeats."""
    columns, rows = round(STRIP_LENGTH / pitch) + 1, round(STRIP_WIDTH / pitch) + 1
    x, y = np.meshgrid(np.linspace(0, STRIP_LENGTH, columns), np.linspace(-STRIP_WIDTH / 2, STRIP_WIDTH / 2, rows))
    random = np.random.default_rng(22)
    x[:, 1:-1] += 0.25 * pitch * random.uniform(-1, 1, x[:, 1:-1].shape)
    y[1:-1] += 0.25 * pitch * random.uniform(-1, 1, y[1:-1].shape)
    number = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = (part.ravel() for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]))
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return np.stack([x.ravel(), y.ravel(), strip_height(x, y).ravel()], 1), faces, {}


def saddle_boss(rings: int = 40) -> Shape:
    """Return the boss of a saddle, cast, on a bit of the surface that the skirt has there."""
    share, angle, faces = disk(rings, 23)
    x, y = BOSS_HALF[0] * share * np.cos(angle), BOSS_HALF[1] * share * np.sin(angle)
    along, across = -x / SKIRT_RADII[0], -y / SKIRT_RADII[1]
    base = np.stack([x, y, -(x**2) / (2 * SKIRT_RADII[0]) - y**2 / (2 * SKIRT_RADII[1])], 1)
    normal = np.stack([-along, -across, np.ones_like(x)], 1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return base + boss_height(x, y)[:, None] * normal, faces, {}
