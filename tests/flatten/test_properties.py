"""What must hold for every flattening: motions, scale, order, holes, seams, bad input."""

from __future__ import annotations

import igl
import meshes
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csc_array, tril

from meshflow.errors import FlattenError
from meshflow.flatten import flatten
from meshflow.flatten.distortion import face_stretch, tightest_radius
from meshflow.flatten.isometric import isometric
from meshflow.flatten.isotropic import DIRICHLET, IsotropicObjective
from meshflow.flatten.newton import ProjectedNewton
from meshflow.flatten.rims import edges_and_seams, loops_by_length
from meshflow.flatten.start import boundary_first_map, circle_map, first_map
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import face_areas


def test_moving_the_piece_changes_no_figure():
    vertices, faces = meshes.saddle(count=15)
    here = flatten(meshes.whole_region(vertices, faces)).distortion
    there = flatten(meshes.whole_region(meshes.turned(vertices), faces)).distortion
    np.testing.assert_allclose(here.s1, there.s1, rtol=1e-6)
    assert here.rim_length_flat_mm == pytest.approx(there.rim_length_flat_mm, rel=1e-7)


@given(scale=st.floats(1e-3, 1e3))
@settings(max_examples=8, deadline=None)
def test_a_piece_k_times_as_large_has_a_pattern_k_times_as_large(scale):
    vertices, faces = meshes.saddle(count=11)
    one = flatten(meshes.whole_region(vertices, faces)).distortion
    other = flatten(meshes.whole_region(vertices * scale, faces)).distortion
    assert other.rim_length_flat_mm == pytest.approx(scale * one.rim_length_flat_mm, rel=1e-6)
    np.testing.assert_allclose(other.s1, one.s1, rtol=1e-5)


def test_face_order_changes_no_figure():
    vertices, faces = meshes.saddle(count=15)
    shuffled = faces[np.random.default_rng(3).permutation(len(faces))]
    one, other = (flatten(meshes.whole_region(vertices, f)).distortion for f in (faces, shuffled))
    assert one.percentile(0.99) == pytest.approx(other.percentile(0.99), rel=1e-7)


def test_the_same_input_gives_the_same_bytes():
    mesh = meshes.spherical_cap(30.0, np.radians(70), 12)
    one, other = (flatten(meshes.whole_region(*mesh)).vertices.tobytes() for _ in range(2))
    assert one == other


@pytest.mark.parametrize("degrees", [30, 100, 150])
def test_no_face_is_flipped_even_on_a_nearly_closed_ball(degrees):
    vertices, faces = meshes.spherical_cap(30.0, np.radians(degrees), 16)
    pattern = flatten(meshes.whole_region(vertices, faces))
    assert (face_areas(pattern.vertices, faces) > 0).all()
    assert pattern.distortion.flipped_faces == 0


def test_rough_scan_surfaces_do_not_flip():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(60), 20)
    rough = meshes.rough(vertices, faces, 0.5, seed=2)
    pattern = flatten(meshes.whole_region(rough, faces))
    assert (face_areas(pattern.vertices, faces) > 0).all()


def test_energy_is_never_above_ten_steps_of_the_reference():
    # libigl (MPL-2.0), scalable locally injective maps, 10 iterations from the same start.
    vertices, faces = meshes.spherical_cap(30.0, np.radians(100), 20)
    vertices = vertices / np.sqrt(face_areas(vertices, faces).sum())
    start, _ = first_map(vertices, faces)
    solver = ProjectedNewton(vertices, faces)
    state = igl.slim_precompute(
        np.asfortranarray(vertices),
        np.asfortranarray(faces.astype(np.int32)),
        np.asfortranarray(start),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, np.int32),
        np.zeros((0, 2), order="F"),
        0.0,
    )
    theirs = np.ascontiguousarray(igl.slim_solve(state, 10)[:, :2])
    objective = IsotropicObjective(DIRICHLET)
    reached = solver.energy(np.ascontiguousarray(theirs[solver.order]), objective)
    assert solver.solve(start, objective).energy <= reached + 1e-9


def test_newton_hessian_matches_finite_differences_where_it_is_convex():
    vertices, faces = meshes.saddle(count=5)
    solver, objective = ProjectedNewton(vertices, faces), IsotropicObjective(DIRICHLET)
    random = np.random.default_rng(5)
    flat = np.ascontiguousarray(first_map(vertices, faces)[0][solver.order] * 1.5)  # stretched: every mode convex
    direction = random.normal(size=flat.shape)

    def gradient(at):
        return solver.assemble(at, objective)[0]

    step = 1e-5
    numeric = (gradient(flat + step * direction) - gradient(flat - step * direction)) / (2 * step)
    data = solver.assemble(flat, objective)[1]
    lower = tril(csc_array((data, solver.indices, solver.starts)))
    exact = ((lower + tril(lower, -1).T) @ direction.reshape(-1)).reshape(-1, 2)
    np.testing.assert_allclose(exact, numeric, rtol=1e-5, atol=1e-8)
    slope = (solver.energy(flat + step * direction, objective) - solver.energy(flat - step * direction, objective)) / (
        2 * step
    )
    assert slope == pytest.approx(float((gradient(flat) * direction).sum()), rel=1e-6)


def test_the_circle_map_takes_over_when_the_first_map_flips(monkeypatch):
    vertices, faces = meshes.spherical_cap(30.0, np.radians(80), 8)
    monkeypatch.setattr("meshflow.flatten.start.boundary_first_map", lambda *mesh: -boundary_first_map(*mesh)[:, ::-1])
    flat, method = first_map(vertices, faces)
    assert method == "circle"
    assert (face_areas(flat, faces) > 0).all()
    assert isometric(vertices, faces, flat).energy == pytest.approx(
        isometric(vertices, faces, circle_map(vertices, faces, boundary_loops(faces)[0])).energy
    )


def test_conformal_scale_of_a_cap_is_known():
    # Stereographic projection with the rim at true length: ln scale at the pole is 2 ln cos(a / 2) (Milnor 1969).
    vertices, faces = meshes.spherical_cap(1.0, np.radians(60), 60)
    flat = boundary_first_map(vertices, faces, boundary_loops(faces)[0])
    s1, s2 = face_stretch(vertices, flat, faces)
    assert -np.log(np.sqrt(s1 * s2)[:6].mean()) == pytest.approx(2 * np.log(np.cos(np.radians(30))), abs=1e-3)
    assert (s1 / s2).max() < 1.02


def test_a_washer_keeps_its_hole():
    vertices, faces = meshes.flat_disk(50.0, 10)
    washer = faces[np.linalg.norm(vertices[faces].mean(axis=1), axis=1) > 20]
    used, faces = np.unique(washer, return_inverse=True)
    pattern = flatten(meshes.whole_region(vertices[used], faces.reshape(-1, 3)))
    assert [edge.name for edge in pattern.edges] == ["rim", "hole-1"]
    assert pattern.distortion.s1.max() == pytest.approx(1.0, abs=1e-9)


def test_the_sides_of_a_seam_are_named_and_equally_long():
    vertices, faces = meshes.developable_cylinder(radius=40, angle=2 * np.pi, around=61, up=6)
    pairs = np.stack([np.arange(6) * 61, np.arange(6) * 61 + 60], axis=1)
    pattern = flatten(meshes.whole_region(vertices, faces, seam_pairs=pairs))
    assert sorted(edge.name for edge in pattern.edges) == ["rim-1", "rim-2", "seam-a", "seam-b"]
    assert len(pattern.edge("seam-a").vertices) == 6
    assert pattern.seams[0].ease_mm == pytest.approx(0.0, abs=1e-9)


def test_the_ease_of_a_seam_is_the_length_of_its_first_side_less_that_of_its_second():
    vertices, faces = meshes.developable_cylinder(radius=40, angle=2 * np.pi, around=61, up=6)
    pairs = np.stack([np.arange(6) * 61, np.arange(6) * 61 + 60], axis=1)
    region = meshes.whole_region(vertices, faces, seam_pairs=pairs)
    flat = flatten(region).vertices.copy()
    along = flat[pairs[-1, 1]] - flat[pairs[0, 1]]
    flat[pairs[:, 1]] += 0.1 * np.linspace(0, 1, 6)[:, None] * along  # the second side is a tenth longer
    edges, (seam,) = edges_and_seams(region, flat, boundary_loops(faces))
    length = {edge.name: np.linalg.norm(np.diff(flat[edge.vertices], axis=0), axis=1).sum() for edge in edges}
    assert seam.ease_mm == pytest.approx(length[seam.edge_a] - length[seam.edge_b], abs=1e-12)
    (longer,) = [edge for edge in edges if set(edge.vertices.tolist()) == set(pairs[:, 1].tolist())]
    assert seam.ease_mm == pytest.approx(8.0 if longer.name == "seam-a" else -8.0, abs=1e-9)


def coarse_rim_fine_hole():
    """A dome with a hole in it; the rim has 12 points, the hole 60."""
    from scipy.spatial import Delaunay

    rings = [(12, 50.0), (24, 38.0), (40, 26.0), (60, 15.0)]
    flat = np.concatenate([
        radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        for radius, turn in ((radius, np.arange(count) * 2 * np.pi / count) for count, radius in rings)
    ])  # fmt: skip
    faces = Delaunay(flat).simplices.astype(np.int64)
    faces = faces[~(faces >= 76).all(axis=1)]
    turned = face_areas(flat, faces) < 0
    faces[turned] = faces[turned][:, ::-1]
    return np.column_stack([flat, -0.004 * (flat**2).sum(axis=1)]), faces


def test_the_rim_is_the_longest_loop_and_not_the_one_with_most_points():
    vertices, faces = coarse_rim_fine_hole()
    loops = loops_by_length(vertices, faces)
    assert [len(loop) for loop in loops] == [12, 60]
    for flat in (first_map(vertices, faces)[0], flatten(meshes.whole_region(vertices, faces)).vertices):
        rim, hole = (flat[loop] for loop in loops)
        x, y = rim.T
        assert 0.5 * float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum()) > 0.9 * np.pi * 45**2
        centre = rim.mean(axis=0)
        assert np.linalg.norm(hole - centre, axis=1).max() < 0.5 * np.linalg.norm(rim - centre, axis=1).min()
    assert [edge.name for edge in flatten(meshes.whole_region(vertices, faces)).edges] == ["rim", "hole-1"]


def test_an_outline_over_itself_is_said_and_refused():
    # A cone of slant 100 over two and a half turns unrolls exactly, but runs over itself.
    mesh = meshes.developable_cone(np.radians(60), np.radians(900), around=200)
    pattern = flatten(meshes.whole_region(*mesh))
    assert pattern.distortion.overlap
    assert [note.severity for note in pattern.notes if note.code == "F101"] == ["refuse"]


def test_closed_handled_and_loose_pieces_are_refused_by_name():
    for mesh in (meshes.closed_box(), meshes.closed_torus()):
        with pytest.raises(FlattenError, match=r"piece.*not a disk"):
            flatten(meshes.whole_region(*mesh))
    vertices, faces = meshes.flat_disk(rings=3)
    two = np.concatenate([vertices, vertices + 500]), np.concatenate([faces, faces + len(vertices)])
    with pytest.raises(FlattenError, match="2 loose pieces"):
        flatten(meshes.whole_region(*two))


def test_interrupt_leaves_a_valid_flattening():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(120), 12)

    def stop(stage, share):
        raise KeyboardInterrupt

    result = isometric(vertices, faces, first_map(vertices, faces)[0], progress=stop)
    assert result.stopped_by == "interrupt"
    assert (face_areas(result.flat, faces) > 0).all()


def test_tightest_radius_of_a_cylinder_is_its_radius():
    assert tightest_radius(*meshes.developable_cylinder(radius=50)) == pytest.approx(50.0, rel=1e-3)
    assert tightest_radius(*meshes.flat_disk()) == np.inf


def test_stretch_of_a_scaled_face_is_formed_over_flat():
    triangle = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    s1, s2 = face_stretch(triangle * [1.08, 0.95, 1], triangle[:, :2], np.array([[0, 1, 2]]))
    assert (s1[0], s2[0]) == pytest.approx((1.08, 0.95), rel=1e-12)


def test_an_early_stop_is_said(monkeypatch):
    monkeypatch.setattr(isometric, "__kwdefaults__", {**isometric.__kwdefaults__, "most_iterations": 1})
    pattern = flatten(meshes.whole_region(*meshes.spherical_cap(30.0, np.radians(120), 12)))
    assert pattern.stopped_by == "iteration_limit"
    assert "F104" in [note.code for note in pattern.notes]
