"""The sparse factorisation against the reference in scipy, dense algebra and what is known of nested dissection."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import meshes
import numpy as np
import pytest
from scipy.sparse import block_diag, csc_array, diags_array, eye_array, kron, random_array, tril
from scipy.sparse.linalg import splu

from meshflow.errors import FlattenError
from meshflow.flatten.isotropic import DIRICHLET, IsotropicObjective
from meshflow.flatten.newton import LEAST_SHIFT, ProjectedNewton
from meshflow.flatten.start import first_map
from meshflow.geometry.linear import BACKEND, Cholesky, NotPositiveDefiniteError, factorise
from meshflow.geometry.operators import cotan_laplacian
from meshflow.geometry.triangles import edge_lengths


def laplacian_of(vertices, faces, shift=1e-3):
    return (
        cotan_laplacian(edge_lengths(vertices, faces), faces, len(vertices)) + shift * eye_array(len(vertices))
    ).tocsc()


def structure_of(vertices, faces, width=1):
    return Cholesky(vertices, faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1), width=width)


def lower_of(matrix, order, width=1):
    spread = (width * order[:, None] + np.arange(width)).reshape(-1)
    half = tril(matrix.tocsr()[spread][:, spread]).tocsc()
    return half.indptr.astype(np.int64), half.indices.astype(np.int64), half.data


@pytest.mark.parametrize("mesh", [meshes.saddle(count=70), meshes.spherical_cap(30.0, np.radians(120), 40)])
def test_both_backends_agree(mesh):
    # scipy's SuperLU (BSD-3-Clause) in its own order is the reference; issue: answers agree to 1e-9.
    matrix = laplacian_of(*mesh)
    right = np.random.default_rng(2).normal(size=(len(mesh[0]), 3))
    ours, theirs = factorise(matrix, points=mesh[0]).solve(right), splu(matrix).solve(right)
    np.testing.assert_allclose(ours, theirs, atol=1e-9 * np.abs(theirs).max())
    np.testing.assert_allclose(factorise(matrix).solve(right), theirs, atol=1e-9 * np.abs(theirs).max())
    assert BACKEND == "meshflow-multifrontal"


class WithSuperLU(ProjectedNewton):
    """The minimiser with scipy's SuperLU (BSD-3-Clause) in place of our own factor."""

    def matrix(self, hessian):
        lower = tril(csc_array((hessian, self.indices, self.starts), shape=(2 * len(self.order),) * 2))
        return (lower + tril(lower, -1).T).tocsc()

    def _factorise(self, hessian):
        hessian[self.diagonal] += LEAST_SHIFT * float(hessian[self.diagonal].mean())
        options = {"permc_spec": "MMD_AT_PLUS_A", "diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}
        self._panels = splu(self.matrix(hessian), **options)

    def _solved(self, right):
        return self._panels.solve(np.ascontiguousarray(right.reshape(-1))).reshape(-1, 2)


def without_motions(step, flat):
    """The part of a step that changes the shape: without shifts and the turn of the piece as a whole."""
    along_x, along_y = np.tile([1.0, 0.0], len(flat)), np.tile([0.0, 1.0], len(flat))
    turn = ((flat - flat.mean(axis=0)) @ [[0.0, 1.0], [-1.0, 0.0]]).reshape(-1)
    basis = np.linalg.qr(np.stack([along_x, along_y, turn], axis=1))[0]
    return step.reshape(-1) - basis @ (basis.T @ step.reshape(-1))


@pytest.mark.parametrize("piece", ["deep cap", "saddle", "scan noise"])
def test_both_backends_take_the_same_steps_and_end_in_the_same_pattern(piece):
    # Moving a piece as a whole costs nothing, so a Hessian is singular but for its shift of 1e-9. Both backends solve
    # it to the last bit (backward error), and that fixes how far it moves the piece to 1e-7 only, but its shape to the
    # last digits: answers, that is patterns, agree to 1e-9 as they lie, to 1e-12 once laid on each other.
    dome = meshes.spherical_cap(30.0, np.radians(60), 30)
    vertices, faces = {
        "deep cap": meshes.spherical_cap(30.0, np.radians(100), 30),
        "saddle": meshes.saddle(count=50),
        "scan noise": (meshes.rough(*dome, 0.3, seed=1), dome[1]),
    }[piece]
    start, objective = first_map(vertices, faces)[0], IsotropicObjective(DIRICHLET)
    ours, theirs = ProjectedNewton(vertices, faces), WithSuperLU(vertices, faces)
    flat = np.ascontiguousarray(start[ours.order])
    gradient, hessian = ours.assemble(flat, objective)
    theirs._factorise(hessian.copy())
    ours._factorise(hessian)
    matrix, steps = theirs.matrix(hessian), [solver._solved(gradient).reshape(-1) for solver in (ours, theirs)]
    for step in steps:
        left = np.abs(matrix @ step - gradient.reshape(-1)).max()
        assert left < 1e-15 * (abs(matrix).sum(axis=0).max() * np.abs(step).max() + np.abs(gradient).max())
    assert np.abs(steps[0] - steps[1]).max() < 1e-7 * np.abs(steps[1]).max()
    one, other = (without_motions(step, flat) for step in steps)
    assert np.abs(one - other).max() < 1e-12 * np.abs(other).max()
    ends = [solver.solve(start, objective) for solver in (ours, theirs)]
    assert ends[0].iterations == ends[1].iterations
    assert ends[0].energy == pytest.approx(ends[1].energy, rel=1e-13)
    assert np.abs(ends[0].flat - ends[1].flat).max() < 1e-9 * np.ptp(ends[1].flat)
    a, b = (end.flat - end.flat.mean(axis=0) for end in ends)
    u, _, v = np.linalg.svd(a.T @ b)
    assert np.abs(a @ u @ v - b).max() < 1e-12 * np.ptp(b)


def test_a_matrix_larger_than_the_machine_is_refused_by_name(monkeypatch):
    vertices, faces = meshes.saddle(count=20)
    structure = structure_of(vertices, faces)
    matrix = lower_of(laplacian_of(vertices, faces), structure.order)

    def full(*shape):
        raise MemoryError

    monkeypatch.setattr("meshflow.geometry.cholesky.np.empty", full)
    for act in (lambda: structure.factorise(*matrix), lambda: structure_of(vertices, faces)):
        with pytest.raises(FlattenError, match=r"400 vertices needs .* GB.*smaller region"):
            act()


def test_any_pattern_of_links_will_do():
    # Dense algebra is the reference; links between random points make long separators and wide fronts.
    random = random_array((200, 200), density=0.02, rng=np.random.default_rng(1))
    matrix = (random @ random.T + 10 * eye_array(200)).tocsc()
    points, right = np.random.default_rng(3).normal(size=(200, 3)), np.random.default_rng(2).normal(size=200)
    expected = np.linalg.solve(matrix.toarray(), right)
    np.testing.assert_allclose(factorise(matrix, points=points).solve(right), expected, atol=1e-12)
    np.testing.assert_allclose(factorise(matrix, points=points[:, :2]).solve(right), expected, atol=1e-12)


@pytest.mark.parametrize("pieces", [2, 5, 23])
def test_a_mesh_in_loose_pieces_is_solved_piece_by_piece(pieces):
    # Pieces of 1 to 60 points, mixed up in space, so that halves cut through some and miss others.
    random = np.random.default_rng(pieces)
    sizes = random.integers(1, 60, pieces)
    blocks = [(lambda a: a @ a.T + 5 * np.eye(len(a)))(random.normal(size=(size, size))) for size in sizes]
    matrix = block_diag(blocks, format="csc")
    for spread in (0.0, 1.0, 10.0):
        centres = spread * np.repeat(random.normal(size=(pieces, 3)), sizes, axis=0)
        points = centres + random.normal(size=(int(sizes.sum()), 3))
        right = random.normal(size=len(points))
        expected = np.linalg.solve(matrix.toarray(), right)
        np.testing.assert_allclose(factorise(matrix, points=points).solve(right), expected, atol=1e-10)


@pytest.mark.parametrize("count", [0, 1, 2, 9, 40])
def test_points_without_links_and_few_points_are_no_special_case(count):
    diagonal = np.arange(1.0, count + 1.0)
    solver = factorise(diags_array(diagonal, shape=(count, count)).tocsc(), points=np.zeros((count, 3)))
    np.testing.assert_allclose(solver.solve(np.ones(count)), 1.0 / diagonal)


@pytest.mark.parametrize("width", [1, 2, 3])
def test_several_unknowns_a_point_share_one_structure(width):
    vertices, faces = meshes.saddle(count=30)
    mix = np.eye(width) + 0.3
    matrix = csc_array(kron(laplacian_of(vertices, faces), mix))
    structure = structure_of(vertices, faces, width)
    right = np.random.default_rng(4).normal(size=width * len(vertices))
    spread = (width * structure.order[:, None] + np.arange(width)).reshape(-1)
    panels = structure.factorise(*lower_of(matrix, structure.order, width))
    solved = np.empty_like(right)
    solved[spread] = panels.solve(right[spread])
    np.testing.assert_allclose(matrix @ solved, right, atol=1e-9)


def test_a_factor_can_be_written_over_an_old_one():
    vertices, faces = meshes.saddle(count=30)
    structure = structure_of(vertices, faces)
    starts, indices, data = lower_of(laplacian_of(vertices, faces), structure.order)
    right = np.random.default_rng(5).normal(size=len(vertices))
    fresh = structure.factorise(starts, indices, data).solve(right)
    over = structure.factorise(starts, indices, data, over=structure.factorise(starts, indices, 3.0 * data))
    assert (over.solve(right) == fresh).all()


def test_an_indefinite_matrix_is_told_and_solved_all_the_same():
    vertices, faces = meshes.saddle(count=20)
    matrix = (laplacian_of(vertices, faces) - 0.5 * eye_array(len(vertices))).tocsc()
    structure = structure_of(vertices, faces)
    with pytest.raises(NotPositiveDefiniteError):
        structure.factorise(*lower_of(matrix, structure.order))
    right = np.ones(len(vertices))
    np.testing.assert_allclose(matrix @ factorise(matrix, points=vertices).solve(right), right, atol=1e-9)


def test_nested_dissection_fills_in_little():
    # A. George 1973: on an n x n grid the factor has about 31/4 n^2 log2 n entries, and no order has fewer than c
    # n^2 log n; row by row it has n^3.
    for size in (20, 40, 80):
        vertices, faces = meshes.saddle(count=size)
        structure = structure_of(vertices, faces)
        assert sorted(structure.order.tolist()) == list(range(size**2))
        assert structure.memory_bytes / 8 < 31 / 4 * size**2 * np.log2(size)
    assert structure.memory_bytes / 8 < 0.6 * size**3


def test_the_bytes_do_not_depend_on_the_number_of_cores():
    # Two threads of whatever BLAS numpy and scipy carry, against one, in new processes.
    code = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import hashlib, meshes, numpy as np\n"
        "from meshflow.flatten.isometric import isometric\n"
        "from meshflow.flatten.start import first_map\n"
        "mesh = meshes.spherical_cap(30.0, np.radians(100), 30)\n"
        "print(hashlib.sha256(isometric(*mesh, first_map(*mesh)[0]).flat.tobytes()).hexdigest())\n"
    )
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
    outcomes = {
        subprocess.run(
            [sys.executable, "-c", code, str(Path(meshes.__file__).parent)],
            env={**os.environ, **dict.fromkeys(names, threads), "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True, text=True, check=True,
        ).stdout
        for threads in ("1", "2")
    }  # fmt: skip
    assert len(outcomes) == 1
