"""Nearest points of curves of thousands of pieces: the same, to the bit, as when every piece is looked at."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from meshflow.geometry import pieces
from meshflow.model.curve import Polycurve


def _curve(count: int, *, bent: bool, seed: int = 0) -> Polycurve:
    random = np.random.default_rng(seed)
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    radius = 40.0 + 6.0 * np.cos(5.0 * angle) + random.normal(0.0, 0.01, count)
    bulges = random.choice([0.0, 0.3, -0.2, 2.5, -4.0, 1e-13], count) if bent else np.zeros(count)
    return Polycurve(np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1), bulges)


def _asked(curve: Polycurve) -> np.ndarray:
    random = np.random.default_rng(7)
    return np.concatenate([random.normal(0.0, 40.0, (1500, 2)), curve.points[:200], [[0.0, 0.0], [1e4, -1e4]]])


@pytest.mark.parametrize("bent", [False, True])
@pytest.mark.parametrize("count", [150, 2000])
def test_near_pieces_give_the_same_places_as_all_pieces(monkeypatch, count: int, bent: bool) -> None:
    curve = _curve(count, bent=bent)
    monkeypatch.setattr(pieces, "_MANY", 0)
    near = pieces.project(curve, _asked(curve))
    monkeypatch.setattr(pieces, "_MANY", 10**12)
    every = pieces.project(curve, _asked(curve))
    assert all(np.array_equal(one, two) for one, two in zip(near, every, strict=True))


def test_one_long_side_among_thousands_of_short_ones_is_found(monkeypatch) -> None:
    run = np.concatenate([_curve(3000, bent=False).points, [[500.0, 0.0], [500.0, -300.0]]])
    curve = Polycurve(run)
    asked = np.array([[270.0, 5.0], [499.0, -150.0], [200.0, -100.0], [45.0, 1.0]])
    monkeypatch.setattr(pieces, "_MANY", 0)
    ring = shapely.LinearRing(run)
    assert pieces.project(curve, asked)[1] == pytest.approx(shapely.distance(ring, shapely.points(asked)), abs=1e-9)


def test_distances_are_those_of_geos(monkeypatch) -> None:
    curve = _curve(5000, bent=False)
    found = pieces.project(curve, _asked(curve))[1]
    wanted = shapely.distance(shapely.LinearRing(curve.points), shapely.points(_asked(curve)))
    assert found == pytest.approx(wanted, abs=1e-9)


def test_a_point_that_is_no_number_does_not_break_the_others() -> None:
    curve = _curve(2000, bent=False)
    asked = _asked(curve)
    asked[3] = np.nan
    found = pieces.project(curve, asked)[1]
    assert len(found) == len(asked)
    assert np.isnan(found[3])
    assert np.isfinite(np.delete(found, 3)).all()
