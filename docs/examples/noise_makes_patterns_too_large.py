"""How much too large a pattern comes out when it is laid out on the raw scan.

A cylinder panel is scanned with noise of a tenth of the side of its triangles. Its true rim is known, so is the rim of
the two patterns: one from the raw scan, one from the carrier surface. Noise sigma at side h makes lengths about
sigma^2 / h^2 too long: one percent here.
"""

import numpy as np

import meshflow
from meshflow.model.surface import Surface

RADIUS, TURN, HEIGHT, ACROSS, UP = 60.0, np.radians(150), 120.0, 73, 57
STEP = HEIGHT / (UP - 1)
TRUE_RIM = 2 * (HEIGHT + 2 * RADIUS * (ACROSS - 1) * np.sin(TURN / (2 * (ACROSS - 1))))


def panel(noise: float, seed: int = 5) -> Surface:
    """A cylinder panel, its points moved along the normal by chance."""
    turn, height = np.meshgrid(np.linspace(0, TURN, ACROSS), np.linspace(0, HEIGHT, UP))
    radius = RADIUS + np.random.default_rng(seed).normal(0.0, noise, turn.shape)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), height], axis=2).reshape(-1, 3)
    column, row = (index.ravel() for index in np.meshgrid(np.arange(ACROSS - 1), np.arange(UP - 1)))
    a = row * ACROSS + column
    faces = np.concatenate([np.stack([a, a + 1, a + ACROSS + 1], 1), np.stack([a, a + ACROSS + 1, a + ACROSS], 1)])
    return Surface(points, faces)


def excess(*, smoothed: bool) -> float:
    """How much longer than the true rim the rim of the pattern is, in percent."""
    region = meshflow.select(panel(0.1 * STEP), name="panel")
    region = meshflow.carrier_surface(region, length="auto" if smoothed else "none")
    rim = meshflow.flatten(region).distortion.rim_length_flat_mm
    return float(100.0 * (rim / TRUE_RIM - 1.0))


if __name__ == "__main__":
    print(f"raw scan: {excess(smoothed=False):.2f} percent too long")
    print(f"carrier surface: {excess(smoothed=True):.2f} percent")
