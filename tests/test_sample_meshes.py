"""The demo's scans against their true answers: closed forms and integrals of the shapes they were made from.

The true shapes stand in sample_meshes/shapes.py; the numbers here are worked out anew, by quadrature or by formula.
"""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from meshflow.flatten import flatten
from meshflow.job.cache import Cache
from meshflow.job.lines import read_line
from meshflow.job.load import load_job
from meshflow.job.walk import Walk
from meshflow.mesh.carrier import carrier_surface
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.regions import neutral_surface, select

SAMPLES = Path(__file__).resolve().parent.parent / "sample_meshes"
TOLERANCE = 2e-3  # rim and area of a scan come out true to 0.2 %


@lru_cache
def laid_flat(file, units, selector="all", seam=None, thickness=0.0, side="middle", offset=0.0, drawn=None):
    surface = mend(read_mesh(SAMPLES / file, units=units))
    lines = {drawn: read_line(SAMPLES / drawn)} if drawn else None
    region = select(surface, selector, thickness=thickness, side=side, seam=seam, lines=lines)
    return flatten(neutral_surface(carrier_surface(region), offset_mm=offset))


def area(pattern):
    return float(pattern.distortion.area_surface.sum())


def test_skirt_has_the_area_and_the_curvature_of_its_saddle():
    # z = -x^2 / 2a - y^2 / 2b over a superellipse: area by quadrature, total curvature of the normal's image.
    (w, h), (a, b), power = (210.0, 140.0), (260.0, 900.0), 2.5

    def reach(x):
        return h * (1 - abs(x / w) ** power) ** (1 / power)

    def slope(y, x):
        return np.sqrt(1 + (x / a) ** 2 + (y / b) ** 2)

    true_area = 4 * dblquad(slope, 0, w, 0, reach)[0]
    true_curvature = 4 * dblquad(lambda y, x: 1 / (a * b * slope(y, x) ** 3), 0, w, 0, reach)[0]
    pattern = laid_flat("saddle_skirt.ply", "mm", "label=1")
    assert area(pattern) == pytest.approx(true_area, rel=TOLERANCE)
    assert pattern.distortion.total_curvature_rad == pytest.approx(true_curvature, rel=0.08)


def area_of_a_parallel_surface(distance, left, right, low, high):
    """Area of the surface that lies a distance outside the skirt, over a region of the plane.

    Steiner's formula for parallel surfaces: dA grows by the factor 1 + d (k1 + k2) + d^2 k1 k2.
    """
    a, b = 260.0, 900.0

    def element(y, x):
        w = np.sqrt(1 + (x / a) ** 2 + (y / b) ** 2)
        curved = ((1 + (y / b) ** 2) / a + (1 + (x / a) ** 2) / b) / w**3
        return w * (1 + distance * curved + distance**2 / (a * b * w**4))

    return dblquad(element, left, right, low, high)[0]


def test_lining_has_the_area_of_the_parallel_surface_in_its_own_middle():
    # Its outer face lies 4 mm inside the scan, so its middle 4.75 mm: 1.9 % less than the skirt itself has.
    def reach(x):
        return 140.0 * (1 - abs(x / 210.0) ** 2.5) ** (1 / 2.5)

    true_area = area_of_a_parallel_surface(-4.75, -210, 210, lambda x: -reach(x), reach)
    pattern = laid_flat("saddle_skirt.ply", "mm", "label=1", thickness=1.5, side="outer", offset=-4.0)
    assert area(pattern) == pytest.approx(true_area, rel=TOLERANCE)


def test_wear_patch_has_the_area_of_the_skirt_under_its_line():
    # A line of 110 x 56 mm between half circles, seen from above; the patch bends about its middle, 0.75 mm outside.
    def reach(x):
        return np.sqrt(28.0**2 - (max(15.0 - x, x - 125.0, 0.0)) ** 2)

    true_area = area_of_a_parallel_surface(0.75, -13, 153, lambda x: -30 - reach(x), lambda x: -30 + reach(x))
    pattern = laid_flat(
        "saddle_skirt.ply", "mm", "line=wear_patch.dxf view=0,0,1", thickness=1.5, side="inner", drawn="wear_patch.dxf"
    )
    assert area(pattern) == pytest.approx(true_area, rel=TOLERANCE)


def test_casing_unrolls_to_a_rectangle_and_says_how_much_of_it_was_filled_in():
    # A cylinder of radius 140 and an arc of 294 mm; the bracket's foot hid 48 x 36 mm of it.
    pattern = laid_flat("pole_casing.ply", "mm", thickness=1.0, side="outer")
    width = 294.0 * 139.5 / 140.0
    assert area(pattern) == pytest.approx(width * 180.0, rel=TOLERANCE)
    rim = pattern.vertices[pattern.edge("rim").vertices]
    diagonal = np.linalg.norm(rim[:, None] - rim[None, :], axis=2).max()
    assert diagonal == pytest.approx(np.hypot(width, 180.0), rel=TOLERANCE)
    # A pin hole of one face is closed on the way, and is conjecture as well.
    assert pattern.region.conjectured_share == pytest.approx((48 * 36 + 18) / (294 * 180), rel=0.02)


def test_measures_of_the_job_are_those_of_the_true_shapes():
    # A circle of the cone; an ellipse by quadrature; an arc of 280 mm and its chord; the ellipsoid as tested above.
    ellipse = quad(lambda t: np.hypot(150.0 * np.sin(t), 115.0 * np.cos(t)), 0, 2 * np.pi)[0]
    true = {
        "tape": 2 * np.pi * 150.0 * np.tan(np.radians(25.0)),
        "girth": ellipse * (700.0 - 30.0) / 700.0,
        "along": 280.0,
        "distance": 2 * 180.0 * np.sin(140.0 / 180.0),
        "area": 31265.3,
    }
    job = load_job(SAMPLES / "carousel.toml")
    walk = Walk(Cache(None), lambda what, share: None)
    assert {plan.kind for plan in job.measures} == set(true)
    for plan in job.measures:
        assert walk.measure(plan).value == pytest.approx(true[plan.kind], rel=TOLERANCE), plan.name


def test_finial_unrolls_to_the_sector_of_its_cone():
    # A cone of half apex angle b unrolls to a sector of angle 2 pi sin b; area half the integral of slant squared.
    angle = np.radians(25.0)
    pattern = laid_flat("canopy_finial.stl", "mm", seam="plane=0,1,0,0@93,0,-200")
    true_area = (
        0.5
        * np.sin(angle)
        * quad(
            lambda turn: (220 + 14 * abs(np.sin(6 * turn))) ** 2 - 90.0**2,
            0,
            2 * np.pi,
            limit=200,
            points=np.arange(12) * np.pi / 6,
        )[0]
    )
    assert area(pattern) == pytest.approx(true_area, rel=TOLERANCE)
    assert pattern.distortion.strain_percentile(0.99) < 0.002
    one, other = (
        np.diff(pattern.vertices[pattern.edge(name).vertices[[0, -1]]], axis=0)[0] for name in ("seam-a", "seam-b")
    )
    # The sides of the seam run opposite ways along the rim.
    cosine = -one @ other / (np.linalg.norm(one) * np.linalg.norm(other))
    turned = np.degrees(2 * np.pi * np.sin(angle))
    assert np.degrees(np.arccos(cosine)) == pytest.approx(min(turned, 360 - turned), abs=1.0)


def test_breast_plate_has_the_area_of_its_ellipsoid_and_is_strongly_curved():
    a, b, c, rim = 120.0, 95.0, 70.0, np.radians(60.0)

    def element(turn, polar):
        sine = np.sin(polar)
        return sine * np.sqrt(
            (b * c * sine * np.cos(turn)) ** 2 + (a * c * sine * np.sin(turn)) ** 2 + (a * b * np.cos(polar)) ** 2
        )

    true_area = dblquad(element, 0, rim, 0, 2 * np.pi)[0]
    pattern = laid_flat("breast_plate.obj", "in", "group=plate")
    assert area(pattern) == pytest.approx(true_area, rel=TOLERANCE)
    assert pattern.distortion.s2.min() < 0.95


@pytest.mark.parametrize(("thickness", "side", "radius"), [(0.0, "middle", 180.0), (1.0, "outer", 179.5)])
def test_panel_unrolls_to_a_rectangle_as_wide_as_its_neutral_arc(thickness, side, radius):
    # A cylinder unrolls to its arc: 300 mm at radius 180, less in the middle of the sheet below.
    pattern = laid_flat("mirror_panel.glb", None, thickness=thickness, side=side)
    rim = pattern.vertices[pattern.edge("rim").vertices]
    width = 300.0 * radius / 180.0
    assert pattern.distortion.rim_length_flat_mm == pytest.approx(2 * (width + 240.0), rel=TOLERANCE)
    diagonal = np.linalg.norm(rim[:, None] - rim[None, :], axis=2).max()
    assert diagonal == pytest.approx(np.hypot(width, 240.0), rel=TOLERANCE)
    opening = pattern.vertices[pattern.edge("hole-1").vertices]
    x, y = opening.T
    hole_area = 0.5 * abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
    assert hole_area == pytest.approx(np.pi * 85.0 * 65.0 * radius / 180.0, rel=3e-3)


def test_strap_is_a_developable_band_of_an_elliptic_cone():
    # Rims and area of the cone by quadrature; a cone unrolls without strain.
    a, b, apex, height = 150.0, 115.0, 700.0, 60.0

    def girth(scale):
        return scale * quad(lambda t: np.hypot(a * np.sin(t), b * np.cos(t)), 0, 2 * np.pi)[0]

    def element(t):
        return np.sqrt((a * b) ** 2 + (apex * b * np.cos(t)) ** 2 + (apex * a * np.sin(t)) ** 2)

    top = 1 - height / apex
    true_area = 0.5 * (1 - top**2) * quad(element, 0, 2 * np.pi)[0]
    pattern = laid_flat("neck_strap.3mf", None, seam="plane=0,1,0,0@150,0,30")
    assert area(pattern) == pytest.approx(true_area, rel=TOLERANCE)
    assert pattern.distortion.strain_percentile(0.99) < 0.002
    long_rim, short_rim = (
        np.linalg.norm(np.diff(pattern.vertices[edge.vertices], axis=0), axis=1).sum()
        for edge in sorted((e for e in pattern.edges if e.name.startswith("rim")), key=lambda e: e.name)
    )
    assert sorted([long_rim, short_rim]) == pytest.approx(sorted([girth(1.0), girth(top)]), rel=TOLERANCE)


def test_the_script_makes_the_files_that_are_kept(tmp_path):
    sys.path.insert(0, str(SAMPLES))
    try:
        import make
    finally:
        sys.path.remove(str(SAMPLES))
    make.main(tmp_path)
    for name, units in [("saddle_skirt.ply", "mm"), ("canopy_finial.stl", "mm"), ("breast_plate.obj", "in"),
                        ("mirror_panel.glb", None), ("neck_strap.3mf", None), ("pole_casing.ply", "mm")]:  # fmt: skip
        kept, made = (read_mesh(folder / name, units=units) for folder in (SAMPLES, tmp_path))
        np.testing.assert_allclose(kept.vertices, made.vertices, atol=1e-3)
        np.testing.assert_array_equal(kept.faces, made.faces)
        np.testing.assert_array_equal(kept.evidence, made.evidence)
    for name in ("wear_patch.dxf", "leather_side.dxf"):
        assert (tmp_path / name).read_bytes() == (SAMPLES / name).read_bytes()


def test_the_samples_stay_small():
    assert sum(path.stat().st_size for path in SAMPLES.iterdir() if path.is_file()) < 3_000_000
