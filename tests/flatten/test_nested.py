"""Coarse to fine: the coarse copy is sound, and the answer is that of the fine patch alone."""

from __future__ import annotations

import signal

import meshes
import numpy as np
import pytest

from meshflow.flatten import nested
from meshflow.flatten.coarse import coarse_frames, coarsen, prolong, strain_sums
from meshflow.flatten.isotropic import DIRICHLET, IsotropicObjective
from meshflow.flatten.newton import ProjectedNewton
from meshflow.flatten.start import first_map
from meshflow.geometry.topology import boundary_loops, edge_table, euler_characteristic
from meshflow.geometry.triangles import face_areas

OBJECTIVE = IsotropicObjective(DIRICHLET)


def solver_and_start(vertices, faces):
    solver = ProjectedNewton(vertices, faces)
    return solver, np.ascontiguousarray(first_map(vertices, faces)[0][solver.order])


@pytest.fixture(scope="module")
def cap():
    return solver_and_start(*meshes.spherical_cap(30.0, np.radians(90), 30))


@pytest.fixture(scope="module")
def copy(cap):
    solver, flat = cap
    sums = strain_sums(flat, solver.faces, solver.gradients, solver.weights)
    return coarsen(flat, solver.faces, sums, len(solver.faces) // 16)


def test_the_copy_is_a_disk_of_few_well_shaped_faces(cap, copy):
    solver, flat = cap
    faces = copy[0]
    assert len(faces) < len(solver.faces) / 12
    assert euler_characteristic(faces) == 1
    assert len(boundary_loops(faces)) == 1
    assert edge_table(faces).face_count.max() == 2
    assert (face_areas(flat, faces) > 0).all()


def test_the_copy_keeps_area_and_strain(cap, copy):
    solver, flat = cap
    faces, sums = copy[0], copy[1]
    assert sums[:, 0].sum() == pytest.approx(1.0)
    gradients, areas = coarse_frames(flat, faces, sums)
    rough = OBJECTIVE.energy(flat, faces, gradients, areas)
    fine = solver.energy(flat, OBJECTIVE)
    # A mean of strains is less than the mean of the energy by what varies inside one coarse face.
    assert 0.97 * fine < rough < fine


def test_faces_of_a_closed_hole_share_what_it_held_by_their_areas():
    # A flat piece is its own first map, so what a face holds is its area, whatever was taken away; only where the rim
    # was cut back do the two differ.
    vertices, faces = meshes.flat_disk(50.0, 24)
    inner = np.linalg.norm(vertices, axis=1) < 49.0
    vertices[inner, :2] += np.random.default_rng(1).uniform(-0.6, 0.6, (int(inner.sum()), 2))
    flat = np.ascontiguousarray(vertices[:, :2])
    solver = ProjectedNewton(vertices, faces)
    flat = np.ascontiguousarray(flat[solver.order])
    left, sums, *_ = coarsen(flat, solver.faces, strain_sums(flat, solver.faces, solver.gradients, solver.weights), 400)
    share = sums[:, 0] / face_areas(flat, left) * face_areas(vertices, faces).sum()
    assert np.quantile(np.abs(share - 1.0), 0.5) < 1e-9
    np.testing.assert_allclose(sums[:, 1] / sums[:, 0], 1.0, atol=1e-9)


def test_a_linear_motion_is_prolonged_exactly(cap, copy):
    _, flat = cap
    _, _, removed, parents, shares = copy
    kept = np.ones(len(flat), dtype=bool)
    kept[removed] = False
    moved = np.where(kept[:, None], flat @ [[0.9, 0.2], [-0.1, 1.3]] + 4.0, 0.0)
    prolong(moved, removed, parents, shares)
    np.testing.assert_allclose(moved, flat @ [[0.9, 0.2], [-0.1, 1.3]] + 4.0, atol=1e-9)


@pytest.mark.parametrize(
    "mesh",
    [
        meshes.spherical_cap(30.0, np.radians(100), 30),
        meshes.saddle(count=40, twist=20.0),
        (meshes.rough(*meshes.spherical_cap(30.0, np.radians(60), 30), 0.3, seed=2), meshes.spherical_cap(rings=30)[1]),
        meshes.washer(),
    ],
    ids=["cap", "saddle", "scan noise", "ring"],
)
def test_the_fine_answer_is_the_same_with_and_without_the_copy(monkeypatch, mesh):
    if len(boundary_loops(mesh[1])) > 1:
        wave = 10.0 * np.sin(mesh[0][:, 0] / 15.0) * np.cos(mesh[0][:, 1] / 15.0)
        mesh = (mesh[0] + [0.0, 0.0, 1.0] * wave[:, None], mesh[1])
    solver, flat = solver_and_start(*mesh)
    plain = solver.solve(flat[solver.place], OBJECTIVE)
    begun = nested.nested_start(solver, flat, OBJECTIVE)
    monkeypatch.setattr("meshflow.flatten.newton.FACES", 100)
    nested_result = solver.solve(flat[solver.place], OBJECTIVE)
    before, after = solver.energy(flat, OBJECTIVE), solver.energy(begun, OBJECTIVE)
    assert after - plain.energy < 0.5 * (before - plain.energy)
    assert nested_result.stopped_by == "converged"
    assert nested_result.energy == pytest.approx(plain.energy, abs=1e-7 * (plain.energy - 4.0))


@pytest.fixture
def ctrl_c():
    """What Ctrl-C does, also where the tests run in the background, deaf to it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield lambda: signal.raise_signal(signal.SIGINT)
    signal.signal(signal.SIGINT, before)


def test_an_interrupt_on_the_copy_ends_the_whole_search(monkeypatch, ctrl_c):
    monkeypatch.setattr("meshflow.flatten.newton.FACES", 1000)
    solver, flat = solver_and_start(*meshes.spherical_cap(30.0, np.radians(120), 30))
    shares = []

    def stop(stage, share):
        shares.append(share)
        ctrl_c()

    result = solver.solve(flat[solver.place], OBJECTIVE, progress=stop)
    assert (result.stopped_by, result.iterations, len(shares)) == ("interrupt", 0, 1)
    np.testing.assert_array_equal(result.flat, flat[solver.place])


def test_progress_on_the_copy_and_after_it_never_falls_back(monkeypatch):
    monkeypatch.setattr("meshflow.flatten.newton.FACES", 200)  # a copy of a copy
    solver, flat = solver_and_start(*meshes.spherical_cap(30.0, np.radians(120), 40))
    shares = []
    solver.solve(flat[solver.place], OBJECTIVE, progress=lambda stage, share: shares.append(share))
    assert shares == sorted(shares)
    assert shares[0] < 0.25
    assert 0.5 < shares[-1] < 1.0


def test_a_start_that_is_the_answer_is_left_alone():
    solver, flat = solver_and_start(*meshes.spherical_cap(30.0, np.radians(60), 20))
    best = solver.solve(flat[solver.place], OBJECTIVE, tolerance=1e-13).flat[solver.order]
    assert solver.energy(nested.nested_start(solver, best, OBJECTIVE), OBJECTIVE) <= solver.energy(best, OBJECTIVE)


def test_meshes_that_cannot_be_made_coarser_come_back_as_they_are():
    vertices, faces = meshes.oblique_cone()  # a fan: one vertex with all faces, the rest on the rim
    solver, flat = solver_and_start(vertices, faces)
    sums = strain_sums(flat, solver.faces, solver.gradients, solver.weights)
    left, *_ = coarsen(flat, solver.faces, sums, 1)
    assert 1 <= len(left) <= len(faces)
    assert np.isfinite(nested.nested_start(solver, flat, OBJECTIVE)).all()
