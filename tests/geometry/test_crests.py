"""Ridges, valleys and curvatures against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import closed_ball, grid_faces

from meshflow.geometry.crests import crests, jet_curvatures
from meshflow.geometry.simplify import simplified


def wave(height: float, width: float, *, noise: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """A rib z = h exp(-x2 / 2 w2) along y, 40 mm square, sides of 0.5 mm; no column of the mesh lies along it."""
    x, y = np.meshgrid(np.linspace(-20.0, 20.0, 81), np.linspace(-20.0, 20.0, 81))
    x = x + 0.13 * np.sin(7.0 * y)
    points = np.stack([x, y, height * np.exp(-(x**2) / (2.0 * width**2))], axis=2).reshape(-1, 3)
    return points + np.random.default_rng(1).normal(0.0, noise, points.shape), grid_faces(81, 81)


def bend_of(height: float, width: float) -> tuple[float, float]:
    """Where the profile is most hollow, and its curvature there: z'' / (1 + z'2)^(3/2) on a fine line."""
    x = np.linspace(0.0, 10.0, 200_001)
    z = height * np.exp(-(x**2) / (2.0 * width**2))
    slope = -x / width**2 * z
    curve = (x**2 / width**4 - 1.0 / width**2) * z / (1.0 + slope**2) ** 1.5
    return float(x[curve.argmax()]), float(curve.max())


def test_ball_has_the_curvature_of_its_radius_everywhere() -> None:
    vertices, faces = closed_ball(25.0, 4)
    bent = jet_curvatures(vertices, faces, size=12.0)
    assert bent.values == pytest.approx(1 / 25.0, rel=0.02)


def test_crest_of_a_rib_is_a_ridge_and_its_feet_are_valleys() -> None:
    vertices, faces = wave(3.0, 3.0)
    [ridge] = crests(vertices, faces, size=3.0, least_turn=0.2)
    assert np.abs(ridge.on(vertices)[:, 0]).max() < 0.05
    assert ridge.curvature.mean() == pytest.approx(3.0 / 9.0, rel=0.06)  # h / w2 at the crest
    place, bend = bend_of(3.0, 3.0)
    valleys = crests(vertices, faces, size=3.0, least_turn=0.2, valleys=True)
    found = sorted(float(line.on(vertices)[:, 0].mean()) for line in valleys)
    assert found == pytest.approx([-place, place], abs=0.05)
    assert valleys[0].curvature.mean() == pytest.approx(bend, rel=0.06)


def test_lines_run_the_whole_length_of_the_rib() -> None:
    vertices, faces = wave(3.0, 3.0)
    [ridge] = crests(vertices, faces, size=3.0, least_turn=0.2)
    assert np.ptp(ridge.on(vertices)[:, 1]) > 38.0


def test_noise_of_the_scan_moves_the_ridge_little() -> None:
    vertices, faces = wave(3.0, 3.0, noise=0.02)
    lines = crests(vertices, faces, size=5.0, least_turn=0.4)
    runs = [line.on(vertices) for line in lines]
    assert sum(float(np.ptp(run[:, 1])) for run in runs) > 35.0
    assert max(float(np.abs(run[:, 0]).max()) for run in runs) < 0.3


def test_plane_ball_and_shallow_wave_have_no_ridge() -> None:
    x, y = np.meshgrid(np.linspace(0.0, 20.0, 31), np.linspace(0.0, 20.0, 31))
    flat = np.stack([x, y, np.zeros_like(x)], axis=2).reshape(-1, 3)
    assert crests(flat, grid_faces(31, 31), size=3.0, least_turn=0.2) == []
    ball = closed_ball(25.0, 3)
    assert crests(*ball, size=6.0, least_turn=0.35) == []
    assert crests(*wave(0.2, 3.0), size=3.0, least_turn=0.2) == []


def test_turned_and_moved_surface_has_the_same_lines() -> None:
    vertices, faces = wave(3.0, 3.0)
    turn = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.0]])
    [here] = crests(vertices, faces, size=3.0, least_turn=0.2)
    moved = vertices @ turn.T + [300.0, -20.0, 5.0]
    [there] = crests(moved, faces, size=3.0, least_turn=0.2)
    assert there.on(vertices)[:, 0] == pytest.approx(0.0, abs=0.05)
    assert len(there.share) == len(here.share)


def test_simplified_line_stays_within_its_tolerance() -> None:
    turn = np.linspace(0.0, 2.0, 500)
    line = 40.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    kept = simplified(line, 0.05)
    assert len(kept) < 40
    from meshflow.geometry.curves import distance_to
    from meshflow.model.curve import Polycurve

    assert distance_to(Polycurve(kept, closed=False), line).max() <= 0.05
    assert kept[[0, -1]].tolist() == line[[0, -1]].tolist()
