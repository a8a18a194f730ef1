"""Flattening against closed forms and published values. The source stands beside each check."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.flatten import flatten
from meshflow.geometry.triangles import edge_lengths
from meshflow.model.forming import Hardening, Weave
from meshflow.model.pattern import Limits, Verdict

LIMITS = Limits(stretch=0.05, gather=0.03)


def flat_of(mesh, **options):
    return flatten(meshes.whole_region(*mesh), **options)


def test_cylinder_unrolls_to_a_rectangle():
    # Elementary: a polyhedral cylinder of n facets is 2 R n sin(phi / 2n) wide.
    pattern = flat_of(meshes.developable_cylinder(radius=50, height=80, around=91))
    corners = pattern.vertices[[0, 90, -1, -91]]
    width = 2 * 50 * 90 * np.sin(np.radians(270) / 180)
    assert np.linalg.norm(corners[1] - corners[0]) == pytest.approx(width, rel=1e-12)
    assert np.linalg.norm(corners[2] - corners[0]) == pytest.approx(np.hypot(width, 80), rel=1e-12)
    assert pattern.verdict is Verdict.LIES_FLAT
    assert pattern.method == "developed"


def test_cylinder_width_converges_to_the_arc_length_at_second_order():
    # Elementary: R phi = 235.619449 for R 50 and 270 degrees; halving the facets quarters the error.
    errors = []
    for facets in (20, 40, 80):
        pattern = flat_of(meshes.developable_cylinder(around=facets + 1))
        errors.append(235.61944901923448 - np.linalg.norm(pattern.vertices[facets] - pattern.vertices[0]))
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2.0, abs=0.02)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(2.0, abs=0.02)


def test_cone_unrolls_to_a_sector_of_its_slant_height():
    # Elementary: a right cone of half apex angle b unrolls to a sector of angle phi sin b; 90 facets.
    pattern = flat_of(meshes.developable_cone(np.radians(30), np.radians(350), slant=100.0))
    chord = np.linalg.norm(pattern.vertices[90] - pattern.vertices[0])
    assert chord == pytest.approx(199.807721339, abs=1e-8)


def test_oblique_cone_agrees_with_triangulation_by_the_law_of_cosines():
    # Sheet-metal development by triangulation (handbook method), redone here with the law of cosines.
    vertices, faces = meshes.oblique_cone()
    pattern = flat_of((vertices, faces))
    a, b, c = edge_lengths(vertices, faces).T
    total = np.arccos((b**2 + c**2 - a**2) / (2 * b * c)).sum()
    assert np.degrees(total) == pytest.approx(96.632381, abs=1e-6)
    first, last = (np.linalg.norm(vertices[k] - vertices[0]) for k in (1, -1))
    expected = np.sqrt(first**2 + last**2 - 2 * first * last * np.cos(total))
    assert np.linalg.norm(pattern.vertices[1] - pattern.vertices[-1]) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("far", [30.0, 40.0])
def test_tangents_of_a_helix_unroll_to_the_tangents_of_a_circle(far):
    # Elementary differential geometry (do Carmo; from memory): unrolling keeps the curvature a / (a^2 + b^2) of the
    # edge of regression and its arc length, so it becomes a circle, and the rulings stay its tangents.
    a, b, turn = 20.0, 10.0, np.radians(200)
    errors = []
    for around in (41, 81, 161):
        mesh = meshes.helix_developable(a, b, turn, far=far, around=around)
        flat = flat_of(mesh).vertices
        circle, angle = (a * a + b * b) / a, turn * a / np.hypot(a, b)
        ends = [(0.0, 8.0), (angle, 8.0), (0.0, far), (angle, far)]
        exact = [circle * np.array([np.cos(t), np.sin(t)]) + s * np.array([-np.sin(t), np.cos(t)]) for t, s in ends]
        ours = flat[[0, around - 1, around, 2 * around - 1]]
        spans = [np.linalg.norm(x[:, None] - x[None], axis=2) for x in (np.array(exact), ours)]
        errors.append(np.abs(spans[0] - spans[1]).max())
    assert errors[-1] < 1e-3 * far
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2.0, abs=0.1)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(2.0, abs=0.1)


DEVELOPABLES = {
    "cylinder": meshes.developable_cylinder(),
    "cone": meshes.developable_cone(),
    "oblique cone": meshes.oblique_cone(),
    "tangents of a helix": meshes.helix_developable(),
    "sharp tangents of a helix": meshes.helix_developable(pitch=3.0, near=1.0, turn=np.radians(400)),
}


@pytest.mark.parametrize("objective", ["isometric", "least_worst", "woven", "formed"])
@pytest.mark.parametrize("piece", DEVELOPABLES)
def test_developable_pieces_take_no_strain_and_no_newton_step_whatever_is_made_least(piece, objective):
    mesh = DEVELOPABLES[piece]
    region = meshes.whole_region(*mesh, thickness=1.0)
    pattern = flatten(region, objective=objective, prove=False, hardening=Hardening(0.44), weave=Weave())
    assert max(np.abs(pattern.distortion.s1 - 1).max(), np.abs(pattern.distortion.s2 - 1).max()) <= 1e-9
    assert (pattern.method, pattern.iterations, pattern.stopped_by) == ("developed", 0, "developed")


@pytest.mark.parametrize("degrees", [1, 5])
def test_a_gentle_dome_is_not_taken_for_a_developable_piece(degrees):
    # Round each vertex hardly anything is missing, but it adds up: a piece is unrolled only if every side comes true.
    vertices, faces = meshes.spherical_cap(1000.0, np.radians(degrees), 20)
    pattern = flat_of((vertices, faces))
    assert (pattern.method, pattern.stopped_by) == ("isometric", "converged")
    # Milnor: the worst stretch is at least sqrt(a / sin a), about 1 + a^2 / 12; twice that is what this energy needs.
    worst = np.sqrt(pattern.distortion.s1.max() / pattern.distortion.s2.min()) - 1
    assert np.radians(degrees) ** 2 / 12.5 < worst < np.radians(degrees) ** 2 / 5


def test_a_fine_mesh_of_a_developable_surface_takes_no_step_either_though_it_is_not_developable_itself():
    # With vertices along the rulings the facets of the tangents of a helix miss a full turn by a little. The first map
    # is already within 1e-9, and the little vanishes at fourth order or faster.
    strains = []
    for around, along in ((61, 16), (121, 31), (241, 61)):
        pattern = flat_of(meshes.helix_developable(around=around, along=along), prove=False)
        strains.append(max(np.abs(pattern.distortion.s1 - 1).max(), np.abs(pattern.distortion.s2 - 1).max()))
        assert (pattern.method, pattern.iterations) == ("isometric", 0)
    assert max(strains[1:]) <= 1e-9
    assert strains[0] > 12 * strains[1] > 144 * strains[2]


@pytest.mark.parametrize(("degrees", "radius", "energy"), [(60, 1.00145, 4.026131), (90, 1.42333, 4.140510)])
def test_cap_reaches_the_axisymmetric_optimum(degrees, radius, energy):
    # Independent one-dimensional optimum of the symmetric Dirichlet energy of a cap (400 elements, L-BFGS; CALC).
    pattern = flat_of(meshes.spherical_cap(1.0, np.radians(degrees), 40))
    reached = np.linalg.norm(pattern.vertices[1:] - pattern.vertices[0], axis=1).max()
    assert reached == pytest.approx(radius, rel=3e-4)
    assert energy < pattern.energy < energy + 3e-4


def test_cap_is_no_better_than_milnors_bound_and_no_worse_than_lambert():
    # Milnor, Amer. Math. Monthly 76 (1969): the ratio of largest to smallest stretch is at least a / sin a.
    # Lambert's equal-area map (Snyder, USGS PP 1395; from memory) has area ratio 1 everywhere, ours need not.
    angle = np.radians(60)
    pattern = flat_of(meshes.spherical_cap(1.0, angle, 30))
    ratio = pattern.distortion.s1.max() / pattern.distortion.s2.min()
    assert ratio > angle / np.sin(angle)
    assert pattern.distortion.s1.max() / pattern.distortion.s2.min() < 1 / np.cos(angle / 2) ** 2 * 1.02


def test_total_curvature_of_a_cap_follows_gauss_bonnet():
    # Gauss-Bonnet (do Carmo; from memory): a cap of half angle a holds 2 pi (1 - cos a).
    pattern = flat_of(meshes.spherical_cap(1.0, np.radians(60), 40))
    rows = 60 * np.pi / 180 * (1 - 0.5 / 40)  # angle defects of the rim belong to the rim: half a ring is missing
    assert pattern.distortion.total_curvature_rad == pytest.approx(2 * np.pi * (1 - np.cos(rows)), rel=2e-3)


def test_saddle_must_gather_in_the_middle_and_stretch_at_the_rim():
    vertices, faces = meshes.saddle()
    pattern = flat_of((vertices, faces), limits=LIMITS)
    centre = np.linalg.norm(vertices[faces].mean(axis=1)[:, :2], axis=1) < 10
    assert pattern.distortion.s2[centre].max() < 1.0
    assert pattern.distortion.percentile(0.99) > 1.0
    assert pattern.distortion.total_curvature_rad < 0


def test_dome_beyond_the_limit_is_proven_impossible_and_a_gentle_one_is_not():
    steep = flat_of(meshes.spherical_cap(100.0, np.radians(60), 30), limits=LIMITS)
    gentle = flat_of(meshes.spherical_cap(100.0, np.radians(15), 30), limits=LIMITS)
    assert steep.verdict is Verdict.OVER_LIMIT_NO_UNCUT_PATTERN
    assert [note.code for note in steep.notes] == ["F102"]
    assert gentle.verdict is Verdict.FORMS_WITHIN_LIMIT


def test_tight_roll_is_refused_by_the_bend_radius_alone():
    mesh = meshes.developable_cylinder(radius=5.0, height=30)
    loose, tight = Limits(least_bend_radius_mm=4.0), Limits(least_bend_radius_mm=6.0)
    assert flat_of(mesh, limits=loose).verdict is Verdict.LIES_FLAT
    judged = flat_of(mesh, limits=tight)
    assert judged.verdict is Verdict.OVER_LIMIT
    assert "F103" in [note.code for note in judged.notes]
