"""The minimiser that all objectives share: derivatives, what it reports, and where it must not break."""

from __future__ import annotations

import meshes
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import FlattenError
from meshflow.flatten import flatten
from meshflow.flatten.isometric import isometric
from meshflow.flatten.isotropic import DIRICHLET, FORMED, WORST, IsotropicObjective, density
from meshflow.flatten.kernels import longest_step
from meshflow.flatten.newton import ProjectedNewton
from meshflow.flatten.start import boundary_first_map, first_map
from meshflow.flatten.steps import StepMemory
from meshflow.flatten.woven import WovenObjective
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import face_areas
from meshflow.model.forming import Weave


def closed_tube(depth, around=36, radius=10.0):
    """A blind tube: a disk with a wall `depth` radii deep. It cannot lie flat; the deeper the worse."""
    rings = around // 6
    vertices, faces = meshes.flat_disk(radius, rings)
    rim = np.arange(len(vertices) - around, len(vertices))
    side = 2 * np.pi * radius / around
    rows = round(depth * radius / side)
    wall = [vertices[rim] - [0.0, 0.0, side * row] for row in range(1, rows + 1)]
    numbers = np.concatenate([rim, len(vertices) + np.arange(rows * around)]).reshape(rows + 1, around)
    a, b = numbers[:-1], np.roll(numbers[:-1], -1, axis=1)
    c, d = numbers[1:], np.roll(numbers[1:], -1, axis=1)
    sides = [np.stack([a, c, d], 2).reshape(-1, 3), np.stack([a, d, b], 2).reshape(-1, 3)]
    return np.concatenate([vertices, *wall]), np.concatenate([faces, *sides])


def ruffle(waves=16, height=45.0):
    """A disk whose rim goes up and down in many deep waves."""
    vertices, faces = meshes.flat_disk(50.0, 16)
    angle, r = np.arctan2(vertices[:, 1], vertices[:, 0]), np.hypot(vertices[:, 0], vertices[:, 1])
    vertices[:, 2] = height * (r / 50.0) ** 2 * np.cos(waves * angle)
    return vertices, faces


@pytest.mark.parametrize(("s1", "s2"), [(1.3, 0.8), (1.0, 1.0), (4.0, 0.1)])
def test_derivatives_of_the_density_match_differences(s1, s2):
    none, h = np.empty(0), 1e-4
    at = lambda a, b: density(DIRICHLET, none, a, b)  # noqa: E731
    value, p1, p2, p11, p12, p22 = at(s1, s2)
    assert value == pytest.approx(s1**2 + s2**2 + s1**-2 + s2**-2)
    assert p1 == pytest.approx((at(s1 + h, s2)[0] - at(s1 - h, s2)[0]) / (2 * h), abs=1e-3)
    assert p2 == pytest.approx((at(s1, s2 + h)[0] - at(s1, s2 - h)[0]) / (2 * h), rel=1e-3, abs=1e-3)
    assert p11 == pytest.approx((at(s1 + h, s2)[1] - at(s1 - h, s2)[1]) / (2 * h), rel=1e-4)
    assert p22 == pytest.approx((at(s1, s2 + h)[2] - at(s1, s2 - h)[2]) / (2 * h), rel=1e-3)
    assert p12 == 0.0


def test_a_new_density_that_nobody_wrote_is_refused():
    with pytest.raises(ValueError, match="no such density"):
        IsotropicObjective(9999)


@pytest.mark.parametrize("count", [1, 3, 9])
def test_steps_correct_an_old_factor_as_limited_memory_bfgs_does(count):
    # On a quadratic with Hessian A: the matrix met so far maps the last change of the gradient on to the last step
    # (secant condition), is symmetric and positive; against BFGS written out with dense matrices (Nocedal 1980).
    random = np.random.default_rng(count)
    size = 8
    root = random.normal(size=(size, size))
    exact, old = root @ root.T + np.eye(size), np.eye(size)
    memory, flat = StepMemory(), random.normal(size=(size // 2, 2))
    memory.forget(flat, (exact @ flat.reshape(-1)).reshape(-1, 2))
    pairs = []
    for _ in range(count):
        step = random.normal(size=flat.shape)
        flat = flat + step
        memory.learn(flat, (exact @ flat.reshape(-1)).reshape(-1, 2))
        pairs.append((step.reshape(-1), exact @ step.reshape(-1)))
    inverse = old
    for step, change in pairs[-5:]:
        left = np.eye(size) - np.outer(step, change) / (step @ change)
        inverse = left @ inverse @ left.T + np.outer(step, step) / (step @ change)
    ours = np.stack([-memory.direction(e.reshape(-1, 2), lambda right: right.copy()).reshape(-1) for e in np.eye(size)])
    np.testing.assert_allclose(ours, inverse, atol=1e-9 * np.abs(inverse).max())
    np.testing.assert_allclose(ours @ pairs[-1][1], pairs[-1][0], atol=1e-9)


def test_a_step_against_the_bend_teaches_nothing():
    memory, flat = StepMemory(), np.zeros((3, 2))
    memory.forget(flat, flat + 1.0)
    memory.learn(flat + 1.0, flat)  # the gradient falls along the step: no convex function does that
    np.testing.assert_array_equal(memory.direction(flat + 2.0, lambda right: right.copy()), flat - 2.0)


def test_zero_iterations_where_the_start_is_the_answer():
    vertices, faces = meshes.developable_cylinder()
    flat = flatten(meshes.whole_region(vertices, faces)).vertices
    result = isometric(vertices, faces, flat)
    assert (result.iterations, result.stopped_by) == (0, "converged")
    assert result.energy == pytest.approx(4.0, abs=1e-12)


def test_the_result_says_how_it_ended_and_what_it_took():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(120), 12)
    start = first_map(vertices, faces)[0]
    result, cut_short = isometric(vertices, faces, start), isometric(vertices, faces, start, most_iterations=2)
    assert result.stopped_by == "converged"
    assert (cut_short.stopped_by, cut_short.iterations) == ("iteration_limit", 2)
    assert result.energy < cut_short.energy
    assert 0 < result.memory_bytes < 8 * 31 * len(vertices) * np.log2(len(vertices))


def test_a_start_beyond_all_numbers_is_not_called_converged():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(80), 6)
    start = first_map(vertices, faces)[0]
    folded = start.copy()
    folded[0] = 2.0 * start[boundary_loops(faces)[0][0]]
    for far in (folded, 1e-200 * start):
        result = isometric(vertices, faces, far)
        assert result.stopped_by == "no_progress"
        np.testing.assert_array_equal(result.flat, far)


@pytest.mark.parametrize(
    "objective",
    [
        IsotropicObjective(DIRICHLET),
        IsotropicObjective(WORST, (8.0, 0.3)),
        IsotropicObjective(FORMED, (0.4, 1.0)),
        WovenObjective(Weave(1.0, 0.5, 0.1)),
    ],
    ids=["isometric", "least worst", "formed", "woven"],
)
def test_one_face_upside_down_costs_infinity_whatever_is_made_least(objective):
    vertices, faces = meshes.spherical_cap(30.0, np.radians(60), 6)
    solver = ProjectedNewton(vertices, faces)
    flat = np.ascontiguousarray(first_map(vertices, faces)[0][solver.order])
    assert np.isfinite(solver.energy(flat, objective))
    corner = solver.faces[7]
    over, apex = flat.copy(), corner[0]
    middle = 0.5 * (flat[corner[1]] + flat[corner[2]])
    over[apex] = middle + 0.2 * (middle - flat[apex])
    assert (face_areas(over, solver.faces) < 0).any()
    assert solver.energy(over, objective) == np.inf


@given(seed=st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_the_longest_step_ends_where_the_first_face_loses_its_area(seed):
    random = np.random.default_rng(seed)
    vertices, faces = meshes.flat_disk(10.0, 4)
    flat, step = np.ascontiguousarray(vertices[:, :2]), random.normal(0, 3.0, (len(vertices), 2))
    if seed % 3 == 0:
        step = np.tile(step[:1], (len(step), 1))  # a shift flips nothing
    longest = longest_step(flat, step, faces)
    if seed % 3 == 0:
        assert longest > 1e6
        return
    before, after = (face_areas(flat + share * longest * step, faces) for share in (1 - 1e-6, 1 + 1e-6))
    assert (before > 0).all()
    assert (after < 0).any()


def test_the_answer_does_not_depend_on_the_start():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(80), 10)
    start = first_map(vertices, faces)[0]
    one, other = (isometric(vertices, faces, each).energy for each in (start, 37.0 * start))
    assert one == pytest.approx(other, rel=1e-9)


def test_numbers_that_are_none_stop_the_search_with_the_start_untouched():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(80), 6)
    solver, start = ProjectedNewton(vertices, faces), first_map(vertices, faces)[0]
    solver.weights = np.full_like(solver.weights, np.nan)
    result = solver.solve(start, IsotropicObjective(DIRICHLET))
    assert result.stopped_by == "no_progress"
    np.testing.assert_array_equal(result.flat, start)


@pytest.mark.parametrize(("depth", "steps"), [(2, 12), (5, 18), (10, 30), (20, 70)])
def test_a_blind_tube_ends_in_a_verdict_after_few_steps(depth, steps):
    # The first map shrinks the tip by exp(-depth): a mean energy of 1e16 at a depth of 20. The bounds are measured.
    vertices, faces = closed_tube(depth)
    pattern = flatten(meshes.whole_region(vertices, faces))
    assert pattern.stopped_by == "converged"
    assert pattern.iterations <= steps
    assert (face_areas(pattern.vertices, faces) > 0).all()
    assert pattern.verdict.value.startswith("over_limit")
    assert "F102" in [note.code for note in pattern.notes]


def test_a_tube_deeper_than_any_map_can_show_is_refused_with_a_remedy():
    with pytest.raises(FlattenError, match=r"squeezed to nothing.*seam"):
        first_map(*closed_tube(100, around=18))


def test_a_deep_ruffle_makes_the_first_map_fold_and_tutte_takes_over():
    vertices, faces = ruffle()
    folded = boundary_first_map(vertices, faces, boundary_loops(faces)[0])
    assert (face_areas(folded, faces) <= 0).any()
    start, method = first_map(vertices, faces)
    assert method == "circle"
    assert (face_areas(start, faces) > 0).all()
    pattern = flatten(meshes.whole_region(vertices, faces))
    assert pattern.stopped_by == "converged"
    assert (face_areas(pattern.vertices, faces) > 0).all()


@pytest.mark.parametrize("share", [0.0, 1e-12, 1e-7, 1e-4])
def test_vertices_that_almost_meet_and_faces_without_area_do_no_harm(share):
    vertices, faces = meshes.spherical_cap(30.0, np.radians(70), 12)
    whole = flatten(meshes.whole_region(vertices, faces))
    face = faces[(faces == 200).any(axis=1)][0]
    a, b = face[face != 200]
    for goal in (vertices[a], 0.5 * (vertices[a] + vertices[b])):
        moved = vertices.copy()
        moved[200] = goal + share * (vertices[200] - goal)
        pattern = flatten(meshes.whole_region(moved, faces))
        assert np.isfinite(pattern.vertices).all()
        assert pattern.stopped_by == "converged"
        assert (face_areas(pattern.vertices, faces) > 0).all()
        assert pattern.energy == pytest.approx(whole.energy, abs=5e-3)


def test_a_hole_of_many_faces_is_filled_for_the_start_only():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(70), 14)
    far = np.linalg.norm(vertices[faces].mean(axis=1) - vertices[faces[300]].mean(axis=0), axis=1) > 6
    used, kept = np.unique(faces[far], return_inverse=True)
    assert 20 < (~far).sum() < 50
    pattern = flatten(meshes.whole_region(vertices[used], kept.reshape(-1, 3)))
    assert len(pattern.vertices) == len(used)
    assert [edge.name for edge in pattern.edges] == ["rim", "hole-1"]
    whole = flatten(meshes.whole_region(vertices, faces))
    assert pattern.energy < whole.energy  # less surface, less constraint


def test_a_mirrored_piece_has_the_mirrored_pattern():
    vertices, faces = meshes.saddle(count=15)
    vertices[:, 2] += 0.01 * vertices[:, 0] ** 2  # no symmetry of its own
    here = flatten(meshes.whole_region(vertices, faces)).vertices
    there = flatten(meshes.whole_region(vertices * [1, 1, -1], faces[:, ::-1])).vertices
    pairs = [(here[a] - here[0], here[b] - here[0], there[a] - there[0], there[b] - there[0]) for a, b in [(14, 200)]]
    for p, q, r, s in pairs:
        assert p @ q == pytest.approx(r @ s, rel=1e-6)
        # Seen from the other side the piece turns the other way round.
        assert p[0] * q[1] - p[1] * q[0] == pytest.approx(-(r[0] * s[1] - r[1] * s[0]), rel=1e-6)
