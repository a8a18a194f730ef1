"""Reliefs of known shape, with wear, dents and noise put on: asked for by what they shall have."""

from __future__ import annotations

import numpy as np

from meshflow.model.relief import Relief


def relief_of(shape, inside, *, width, high, pitch=0.25, origin=(0.0, 0.0), name="ornament", noise=0.0):
    """Sample a function of x and y [mm] where another one says that it is inside."""
    x0, y0 = origin
    x, y = np.meshgrid(
        x0 + pitch * np.arange(round(width / pitch) + 1), y0 + pitch * np.arange(round(high / pitch) + 1)
    )
    mask = inside(x, y) & np.ones(x.shape, dtype=bool)
    return Relief(name, np.where(mask, shape(x, y), 0.0), mask, pitch, origin, noise_mm=noise)


def leaves(count, centre, *, radius=18.0, turn=0.3, lobes=True):
    """Height of a rosette: leaves with a twist, so that it is no mirror image of itself."""

    def height(x, y):
        r, a = np.hypot(x - centre[0], y - centre[1]), np.arctan2(y - centre[1], x - centre[0]) - turn
        wave = np.cos(count * (a - 0.03 * r)) + (0.35 * np.sin(2 * count * a + 0.2 * r) if lobes else 0.0)
        return 0.6 * np.exp(-(((r - 0.6 * radius) / (0.25 * radius)) ** 2)) * (1.0 + 0.6 * wave)

    return height


def disk(centre, radius):
    """Inside of a circle."""
    return lambda x, y: np.hypot(x - centre[0], y - centre[1]) <= radius


def running(period, *, angle=0.0, middle=(0.0, 0.0)):
    """Height of a strip with a leaf and a smaller one in each period, along a direction [rad]."""

    def height(x, y):
        u = np.cos(angle) * (x - middle[0]) + np.sin(angle) * (y - middle[1])
        v = -np.sin(angle) * (x - middle[0]) + np.cos(angle) * (y - middle[1])
        phase = 2 * np.pi * u / period
        large = np.exp(2.0 * (np.cos(phase - 0.25 * v) - 1.0)) * np.exp(-((v / 2.5) ** 2))
        small = 0.5 * np.exp(6.0 * (np.cos(phase - np.pi) - 1.0)) * np.exp(-(((v - 1.5) / 1.2) ** 2))
        return large + small

    return height


def band(half_width, half_length, *, angle=0.0, middle=(0.0, 0.0)):
    """Inside of a rectangle along a direction [rad]."""

    def inside(x, y):
        u = np.cos(angle) * (x - middle[0]) + np.sin(angle) * (y - middle[1])
        v = -np.sin(angle) * (x - middle[0]) + np.cos(angle) * (y - middle[1])
        return (np.abs(u) <= half_length) & (np.abs(v) <= half_width)

    return inside


def worn(relief, *, noise=0.03, dents=6, wear=0.15, seed=5):
    """Put noise, dents of 3 mm and uneven wear on a relief."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(relief.x, relief.y)
    height = relief.height * (1.0 - wear * 0.5 * (1.0 + np.sin(0.11 * x + 0.07 * y)))
    row, column = np.nonzero(relief.inside)
    for place in rng.choice(len(row), size=dents, replace=False).tolist():
        cx, cy = relief.x[column[place]], relief.y[row[place]]
        height -= 0.5 * np.exp(-(((x - cx) ** 2 + (y - cy) ** 2) / 1.5**2))
    height += rng.normal(0.0, noise, height.shape)
    return Relief(
        relief.name, np.where(relief.inside, height, 0.0), relief.inside, relief.pitch_mm, relief.origin_mm,
        noise_mm=noise)  # fmt: skip


def rms(one, other, where):
    """Root-mean-square difference where a mask is set."""
    return float(np.sqrt(np.mean((one[where] - other[where]) ** 2)))
