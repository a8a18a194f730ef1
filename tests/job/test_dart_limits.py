"""Every limit on darts, held by a check that knows nothing of the search, and each check seen to fail.

A fault is planted by taking the rule out of the search; the check must then find darts that break it. Where the answer
comes from: the drawn pattern itself (shapely), the table, mirror images, or a flattening of its own.
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from shapely.geometry import LineString

from meshflow.flatten import flatten
from meshflow.geometry.nearest import SurfaceTree
from meshflow.job import darts
from meshflow.job.darts import darts_of, limits_at, with_dart_edges
from meshflow.model.rigid import Plane
from meshflow.regions import dart, dart_mirror, dart_search
from meshflow.regions.dart import DartOptions

RADIUS, HALF = 50.0, np.radians(60)
ACROSS = Plane(np.array([1.0, 0.0, 0.0]))


def cap(rings=14):
    return meshes.whole_region(*meshes.spherical_cap(RADIUS, HALF, rings))


def placed(limit, **options):
    return darts_of(cap(), limits_at(limit), options=DartOptions(**options))


def too_many(found, most):
    return len(found.table.darts) > most


def unpaired(found, plane):
    """Darts whose mirror image is no dart, by a side of the mesh."""
    tips = np.array([dart.tip_mm for dart in found.table.darts])
    images = tips - 2.0 * (tips @ plane.normal - plane.offset_mm)[:, None] * plane.normal
    return [n for n, image in enumerate(images) if np.linalg.norm(tips - image, axis=1).min() > 4.0]


def cut_through(found, ornament):
    """Faces to be kept whole that have an open side now, other than on their border."""
    region = cap()
    inner = np.setdiff1d(region.faces[ornament], np.delete(region.faces, ornament, axis=0))
    legs = found.region.vertices[np.asarray(found.region.seam_pairs)[:, 0]]
    same = found.seam_of_pair[:-1] == found.seam_of_pair[1:]
    middle = 0.5 * (legs[:-1] + legs[1:])[same]
    at = SurfaceTree(region.vertices, region.faces).nearest(middle)
    deep = at.weights.min(axis=1) > 1e-6
    on_inner = np.isin(region.faces[at.face], inner).sum(axis=1) >= 2
    return np.flatnonzero(np.isin(at.face, ornament) & (deep | on_inner))


def narrow_fingers(found, width):
    """Pairs of darts nearer to each other on the drawn pattern than a width, less what the material strains."""
    pattern = with_dart_edges(flatten(found.region), found)
    legs = [
        [LineString(pattern.vertices[pattern.edge(f"{dart.name}-{side}").vertices]) for side in "ab"]
        for dart in found.table.darts
    ]
    least = width * (1.0 - 1.5 * found.table.p99)
    return [
        (one, two)
        for one in range(len(legs))
        for two in range(one)
        if min(a.distance(b) for a in legs[one] for b in legs[two]) < least
    ]


def over_the_limit(found, limit):
    return flatten(found.region).distortion.strain_percentile(0.99) > limit * (1 + 1e-9)


class Unruly(dart_search.DartSearch):
    """A search that forgets some of its rules."""

    def __init__(self, *given):
        super().__init__(*given)
        self.most = 24
        self.kept = np.zeros_like(self.kept)


def test_the_largest_number_holds(monkeypatch):
    assert not too_many(placed(0.02, most=2), 2)
    monkeypatch.setattr(dart, "DartSearch", Unruly)
    assert too_many(placed(0.02, most=2), 2)


def test_pairs_about_a_plane_hold(monkeypatch):
    found = placed(0.05, symmetric=ACROSS)
    assert len(found.table.darts) >= 2
    assert not unpaired(found, ACROSS)
    monkeypatch.setattr(dart_mirror.Mirror, "plan", lambda self, ground, tip, goal: [(tip, goal)])
    assert unpaired(placed(0.05, symmetric=ACROSS, shallow=False), ACROSS)


def test_keep_out_zones_hold(monkeypatch):
    region = cap()
    middle = region.vertices[region.faces].mean(axis=1)
    ornament = np.flatnonzero((middle[:, 1] > 5.0) & (middle[:, 1] < 30.0))
    found = placed(0.07, keep_whole=ornament)
    assert found.table.darts
    assert len(cut_through(found, ornament)) == 0
    monkeypatch.setattr(dart, "DartSearch", Unruly)
    assert len(cut_through(placed(0.07, keep_whole=ornament), ornament)) > 0


def test_the_limit_of_strain_holds(monkeypatch):
    assert not over_the_limit(placed(0.05), 0.05)
    load = darts._load
    monkeypatch.setattr(darts, "_load", lambda bent, limits: 0.5 * load(bent, limits))
    assert over_the_limit(placed(0.05), 0.05)


def test_darts_are_no_deeper_than_the_limit_asks_for(monkeypatch):
    shallow = placed(0.10)
    assert all(dart.depth < 1.0 for dart in shallow.table.darts)
    monkeypatch.setattr(dart, "made_shallow", lambda full, bench, uncut, report: full)
    deep = placed(0.10)
    assert all(dart.depth == 1.0 for dart in deep.table.darts)
    assert deep.table.seam_mm > 1.1 * shallow.table.seam_mm


@pytest.mark.parametrize("width", [24.0])
def test_fingers_are_no_narrower_than_asked_for(monkeypatch, width):
    found = placed(0.03, finger_mm=width)
    assert len(found.table.darts) >= 3
    assert found.table.finger_mm >= width
    assert not narrow_fingers(found, width)
    assert found.table.to_json()["finger_mm"] == found.table.finger_mm
    monkeypatch.setattr(dart_search, "first_with_room", lambda *given: 0)
    spoilt = placed(0.03, finger_mm=width)
    assert spoilt.table.finger_mm < width
    assert narrow_fingers(spoilt, width)


def test_a_dart_is_led_on_from_a_saddle_to_the_dome_beyond(monkeypatch):
    # A saddle with a boss beside its middle: a dart to the saddle alone makes the flat cover itself.
    vertices, faces = meshes.flat_disk(50.0, 14)
    x, y = vertices[:, 0], vertices[:, 1]
    height = 0.006 * (x * x - y * y) + 14.0 * np.exp(-((x - 12.0) ** 2 + y**2) / (2 * 13.0**2))
    region = meshes.whole_region(np.stack([x, y, height], axis=1), faces)
    found = darts_of(region, limits_at(0.05), options=DartOptions(most=4))
    assert found.table.stopped_by == "within_limit"
    assert not over_the_limit(found, 0.05)
    pattern = flatten(found.region)
    assert not pattern.distortion.overlap
    monkeypatch.setattr(dart_search.DartSearch, "_led_on", lambda self, piece, ways: [])
    assert darts_of(region, limits_at(0.05), options=DartOptions(most=4)).table.stopped_by == "no_dart_helps"
