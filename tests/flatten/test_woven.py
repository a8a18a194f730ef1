"""Cloth and leather: exact derivatives, Chebyshev's nets, the isotropic limit, grain, lock, and what must hold."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.flatten.isometric import isometric
from meshflow.flatten.newton import ProjectedNewton
from meshflow.flatten.shear import findings_of_shear, shear_of
from meshflow.flatten.start import first_map
from meshflow.flatten.woven import WovenObjective, woven
from meshflow.geometry.triangles import face_areas
from meshflow.model.forming import Weave

LEATHER = Weave(1.0, 0.25, 0.1)
CLOTH = Weave(1.0, 1.0, 0.02)


def laid(mesh, weave=LEATHER, **options):
    vertices, faces = mesh
    return woven(vertices, faces, first_map(vertices, faces)[0], weave=weave, **options)


def energy_by_hand(jacobian, weave):
    """The energy for each unit of formed area from C = (J J^T)^-1, with numpy's inverse; J is flat over formed."""
    metric = np.linalg.inv(jacobian @ jacobian.T)
    e1, e2, g = (metric[0, 0] - 1) / 2, (metric[1, 1] - 1) / 2, metric[0, 1]
    beyond = max(abs(g) - np.sin(min(weave.lock_rad, np.pi / 2)), 0.0) if np.isfinite(weave.lock_rad) else 0.0
    stored = weave.along * e1**2 + weave.across * e2**2 + weave.shear * g**2 + 10 * beyond**3
    return np.linalg.det(jacobian) * stored


def some_jacobians(count=12):
    random = np.random.default_rng(4)
    drawn = (np.eye(2) + 0.35 * random.normal(size=(2, 2)) for _ in range(10 * count))
    return [jacobian for jacobian in drawn if np.linalg.det(jacobian) > 0.3][:count]


@pytest.mark.parametrize("weave", [LEATHER, Weave(1.0, 0.8, 0.02, np.radians(10))])
def test_derivatives_of_the_energy_match_finite_differences(weave):
    from meshflow.flatten.woven_kernels import woven_second_derivative

    parameters, step = WovenObjective(weave).parameters, 1e-4
    moves = step * np.eye(4)
    for jacobian in some_jacobians():
        metric = np.linalg.inv(jacobian @ jacobian.T)
        slope, second = np.empty(4), np.empty((4, 4))
        det = np.linalg.det(jacobian)
        woven_second_derivative(parameters, metric[0, 0], metric[1, 1], metric[0, 1], slope, second)

        def moved(move, jacobian=jacobian):
            return energy_by_hand((np.eye(2) + move.reshape(2, 2)) @ jacobian, weave)

        by_hand = np.array([(moved(a) - moved(-a)) / (2 * step) for a in moves])
        twice = [[moved(a + b) - moved(a - b) - moved(b - a) + moved(-a - b) for b in moves] for a in moves]
        np.testing.assert_allclose(det * slope, by_hand, rtol=1e-5, atol=1e-6 * np.abs(by_hand).max())
        np.testing.assert_allclose(
            det * second, np.array(twice) / (4 * step**2), rtol=1e-4, atol=1e-5 * det * np.abs(second).max()
        )


def test_projection_keeps_the_positive_eigenvalues_and_drops_the_others():
    from meshflow.flatten.woven_kernels import _project

    random = np.random.default_rng(1)
    for _ in range(20):
        matrix = random.normal(size=(4, 4)) * 10.0 ** random.integers(-6, 6)
        matrix = matrix + matrix.T
        values, vectors = np.linalg.eigh(matrix)
        kept = vectors @ np.diag(np.maximum(values, 0)) @ vectors.T
        _project(matrix, np.empty((4, 4)))
        np.testing.assert_allclose(matrix, kept, atol=1e-12 * np.abs(values).max())


def test_gradient_and_hessian_are_summed_over_the_faces():
    # The sum again with dense matrices and numpy's eigenvalues; the gradient also against differences of the energy.
    from meshflow.flatten.woven_kernels import woven_second_derivative

    vertices, faces = meshes.saddle(count=5, twist=15.0)
    solver, objective = ProjectedNewton(vertices, faces), WovenObjective(CLOTH)
    flat = np.ascontiguousarray(first_map(vertices, faces)[0][solver.order] * [1.2, 0.8])
    gradient, data = solver.assemble(flat, objective)
    assembled, dense = np.zeros((2 * len(flat), 2 * len(flat))), np.zeros((2 * len(flat), 2 * len(flat)))
    for column in range(len(assembled)):
        rows = slice(solver.starts[column], solver.starts[column + 1])
        assembled[solver.indices[rows], column] = data[rows]
    for face, corners in enumerate(solver.faces):
        jacobian = flat[corners].T @ solver.gradients[face]
        metric = np.linalg.inv(jacobian @ jacobian.T)
        second = np.empty((4, 4))
        woven_second_derivative(objective.parameters, metric[0, 0], metric[1, 1], metric[0, 1], np.empty(4), second)
        values, vectors = np.linalg.eigh(second)
        second = vectors @ np.diag(np.maximum(values, 0)) @ vectors.T
        on_flat = solver.gradients[face] @ np.linalg.inv(jacobian)
        change = np.zeros((4, 2 * len(flat)))
        for corner, at in zip(corners, on_flat, strict=True):
            for axis in range(2):
                change[2 * axis : 2 * axis + 2, 2 * corner + axis] = at
        dense += solver.weights[face] * np.linalg.det(jacobian) * change.T @ second @ change
    np.testing.assert_allclose(np.tril(assembled), np.tril(dense), atol=1e-12 * np.abs(dense).max())
    direction, step = np.random.default_rng(5).normal(size=flat.shape), 1e-5
    rise = solver.energy(flat + step * direction, objective) - solver.energy(flat - step * direction, objective)
    assert rise / (2 * step) == pytest.approx(float((gradient * direction).sum()), rel=1e-6)


@pytest.mark.parametrize("weave", [LEATHER, CLOTH, Weave(1.0, 1.0, 0.1), Weave(1.0, 0.8, 0.02, np.radians(30))])
@pytest.mark.parametrize("shape", ["cap", "saddle"])
def test_newton_converges_on_the_cap_and_the_saddle_skirt(weave, shape):
    # With the Gauss-Newton Hessian the soft materials ran into a cap of 99 steps.
    mesh = meshes.spherical_cap(50.0, np.radians(60), 24) if shape == "cap" else meshes.saddle(count=31)
    for grain in (0.0, 0.5):
        result = laid(mesh, weave, grain_rad=grain)
        assert result.stopped_by == "converged"
        assert result.iterations <= 15
        assert (face_areas(result.flat, mesh[1]) > 0).all()


def test_no_other_minimiser_finds_less():
    # scipy's L-BFGS on the energy written out with numpy, within the condition that the piece does not turn.
    from scipy.optimize import minimize

    vertices, faces = meshes.spherical_cap(1.0, np.radians(60), 3)
    start = first_map(vertices, faces)[0]
    result = laid((vertices, faces))
    u, v = vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]]
    areas = face_areas(vertices, faces)
    lumped = np.bincount(faces.reshape(-1), np.repeat(areas, 3))[:, None]
    middle = (lumped * start).sum(axis=0) / lumped.sum()
    turning = (lumped * (start - middle) @ np.array([[0.0, 1.0], [-1.0, 0.0]])).reshape(-1)

    def energy(x):
        x = x - turning * (turning @ x) / (turning @ turning)
        flat = x.reshape(-1, 2)
        p, q = flat[faces[:, 1]] - flat[faces[:, 0]], flat[faces[:, 2]] - flat[faces[:, 0]]
        det = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
        if (det <= 0).any():
            return 1e3
        a, b = (u * q[:, 1:] - v * p[:, 1:]) / det[:, None], (v * p[:, :1] - u * q[:, :1]) / det[:, None]
        e1, e2, g = ((a * a).sum(1) - 1) / 2, ((b * b).sum(1) - 1) / 2, (a * b).sum(1)
        stored = LEATHER.along * e1**2 + LEATHER.across * e2**2 + LEATHER.shear * g**2
        return float((0.5 * det * stored).sum() / areas.sum())

    options = {"maxiter": 2000, "maxfun": 10**6, "ftol": 1e-13, "gtol": 1e-9, "eps": 1e-6}
    found = minimize(lambda x: 1e3 * energy(x), start.reshape(-1), method="L-BFGS-B", options=options)
    assert energy(result.flat.reshape(-1)) == pytest.approx(result.energy, rel=1e-9)
    assert result.energy == pytest.approx(1e-3 * found.fun, rel=1e-5)


def test_isotropic_limit_is_the_isometric_flattening_for_small_strain():
    # Both energies are 4 |E|^2 to second order (moduli 1, 1, 1/2); what is left must fall with the strain itself.
    differences = []
    for degrees in (10, 20):
        vertices, faces = meshes.spherical_cap(50.0, np.radians(degrees), 12)
        same = isometric(vertices, faces, first_map(vertices, faces)[0]).flat
        ours = laid((vertices, faces), Weave()).flat
        rim = np.linalg.norm(same - same[0], axis=1)
        strain = np.radians(degrees) ** 2 / 8
        differences.append(np.abs(np.linalg.norm(ours - ours[0], axis=1) - rim).max() / rim.max() / strain)
    assert differences[0] < 0.01
    assert differences[1] / differences[0] == pytest.approx(4.0, rel=0.25)


def test_grain_is_counter_clockwise_from_x():
    vertices, faces = meshes.saddle(count=13)
    start = first_map(vertices, faces)[0]
    angle = np.radians(25)
    left = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])  # turns columns to the left
    along_x = woven(vertices, faces, start, weave=LEATHER).flat
    turned = woven(vertices, faces, start @ left.T, weave=LEATHER, grain_rad=angle).flat
    np.testing.assert_allclose(turned, along_x @ left.T, atol=1e-6)
    # A plate that is 10 % longer along 25 degrees once formed.
    flat, faces = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), np.array([[0, 1, 2], [0, 2, 3]])
    longer = flat @ left @ np.diag([1.1, 1.0]) @ left.T
    shear = shear_of(np.column_stack([longer, np.zeros(4)]), flat, faces, weave=LEATHER, grain_rad=angle)
    np.testing.assert_allclose(shear.along, 1.1, rtol=1e-12)
    np.testing.assert_allclose(shear.across, 1.0, rtol=1e-12)


def test_turning_the_grain_by_a_right_angle_swaps_along_and_across():
    mesh = meshes.saddle(count=15)
    one = laid(mesh, Weave(1.0, 0.25, 0.1), grain_rad=0.3)
    other = laid(mesh, Weave(0.25, 1.0, 0.1), grain_rad=0.3 + np.pi / 2)
    assert np.abs(one.flat - other.flat).max() < 1e-3
    np.testing.assert_allclose(one.shear.along, other.shear.across, atol=1e-4)


def test_grain_turned_by_a_right_angle_turns_the_answer():
    # A dome looks the same from everywhere: the pattern is longer across the soft way, whichever way that is.
    mesh = meshes.spherical_cap(50.0, np.radians(60), 24)
    start = first_map(*mesh)[0]
    spread = []
    for grain in (0.0, np.pi / 2):
        flat = woven(*mesh, start, weave=LEATHER, grain_rad=grain).flat
        spread.append(np.sqrt((flat - flat.mean(axis=0)).var(axis=0)))
    assert spread[0][0] / spread[0][1] > 1.005 or spread[0][1] / spread[0][0] > 1.005
    np.testing.assert_allclose(spread[0], spread[1][::-1], rtol=1e-3)


def test_stiff_threads_shear_as_chebyshevs_net_on_a_sphere():
    # Chebyshev 1878: threads that cannot stretch clothe any surface; on the unit sphere their shear obeys
    # d2 shear / du dv = cos(shear) (Hazzidakis 1879; both from memory). With two geodesic threads as axes it depends on
    # w = u v alone: w - w^3 / 18 + 7 w^5 / 1800, by putting the power series into the equation.
    worst = []
    for rings in (16, 32):
        vertices, faces = meshes.spherical_cap(1.0, np.radians(50), rings)
        result = laid((vertices, faces), Weave(1.0, 1.0, 2e-3))
        w = np.prod((result.flat - result.flat[0])[faces].mean(axis=1), axis=1)
        net = w - w**3 / 18 + 7 * w**5 / 1800
        worst.append(np.degrees(np.abs(result.shear.angle_rad - net).max()))
    assert np.degrees(net.max()) > 18
    assert worst[1] < 0.6
    assert worst[1] < 0.55 * worst[0]
    assert np.percentile(np.abs(np.concatenate([result.shear.along, result.shear.across]) - 1), 99) < 0.004


def test_shear_of_a_leaning_square_is_its_angle():
    # Threads along x and y of a flat square; on the formed piece the y thread leans by 20 degrees.
    flat = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]])
    lean = np.radians(20)
    formed = flat @ np.array([[1, 0, 0], [np.sin(lean), np.cos(lean), 0]])
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    shear = shear_of(formed, flat, faces, weave=CLOTH)
    np.testing.assert_allclose(np.degrees(shear.angle_rad), 20.0, rtol=1e-12)
    np.testing.assert_allclose([shear.along, shear.across], 1.0, rtol=1e-12)
    # Under a grain turned by 90 degrees the same lean is seen from the other thread.
    turned = shear_of(formed, flat, faces, weave=CLOTH, grain_rad=np.pi / 2)
    np.testing.assert_allclose(np.degrees(turned.angle_rad), -20.0, rtol=1e-12)


def test_a_trellis_lean_costs_shear_only():
    # For C11 = C22 = 1 the energy is shear * sin^2 of the lean for each unit of flat area.
    lean = np.radians(20)
    formed_of_flat = np.array([[1, np.sin(lean)], [0, np.cos(lean)]])
    assert energy_by_hand(np.linalg.inv(formed_of_flat), CLOTH) * np.cos(lean) == pytest.approx(
        CLOTH.shear * np.sin(lean) ** 2, rel=1e-12
    )


def test_leather_stretches_more_across_its_grain_than_along():
    shear = laid(meshes.spherical_cap(50.0, np.radians(60), 16)).shear
    assert np.ptp(shear.across) > 2 * np.ptp(shear.along)


def test_a_lock_holds_the_shear_back_and_is_said_where_it_cannot():
    mesh = meshes.spherical_cap(50.0, np.radians(60), 16)
    faces = np.arange(len(mesh[1])) + 1000
    free = laid(mesh, CLOTH).shear
    locking = laid(mesh, Weave(1.0, 1.0, 0.02, np.radians(15))).shear
    assert free.percentile(0.99) > np.radians(22)
    assert locking.percentile(0.99) < np.radians(20)
    assert findings_of_shear(free, faces) == ()
    (note,) = findings_of_shear(locking, faces)
    assert note.code == "F131"
    assert note.count == int((np.abs(locking.angle_rad) > np.radians(15)).sum()) > 0
    assert min(note.faces) >= 1000
    loose = laid(mesh, Weave(1.0, 1.0, 0.02, np.radians(40))).shear
    assert findings_of_shear(loose, faces) == ()
    assert loose.to_json()["shear_lock_deg"] == pytest.approx(40.0)


def test_the_piece_does_not_turn_on_the_grain():
    vertices, faces = meshes.saddle(count=21)
    start = first_map(vertices, faces)[0]
    weights = np.bincount(faces.reshape(-1), np.repeat(face_areas(vertices, faces), 3))[:, None]
    for grain in (0.0, 0.5, 1.2):
        flat = woven(vertices, faces, start, weave=Weave(1.0, 0.1, 0.02), grain_rad=grain).flat
        a, b = (x - (weights * x).sum(axis=0) / weights.sum() for x in (start, flat))
        turn = np.arctan2((weights[:, 0] * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])).sum(), (weights * a * b).sum())
        assert abs(turn) < 1e-9


def test_size_and_place_change_no_shear():
    vertices, faces = meshes.saddle(count=13)
    here = laid((vertices, faces), grain_rad=0.4)
    there = laid((9.0 * meshes.turned(vertices), faces), grain_rad=0.4)
    np.testing.assert_allclose(here.shear.angle_rad, there.shear.angle_rad, atol=2e-4)
    np.testing.assert_allclose(here.shear.across, there.shear.across, atol=2e-4)


def test_a_mirrored_piece_under_the_mirrored_grain_has_the_mirrored_pattern():
    vertices, faces = meshes.saddle(count=13)
    start = first_map(vertices, faces)[0]
    mirror = np.array([-1.0, 1.0])
    one = woven(vertices, faces, start, weave=LEATHER, grain_rad=0.4)
    faces_over = faces[:, ::-1]
    other = woven(vertices * [-1.0, 1.0, 1.0], faces_over, start * mirror, weave=LEATHER, grain_rad=-0.4)
    same = woven(vertices * [-1.0, 1.0, 1.0], faces_over, start * mirror, weave=LEATHER, grain_rad=0.4)
    assert np.abs(other.flat - one.flat * mirror).max() < 1e-3
    assert np.abs(same.flat - one.flat * mirror).max() > 0.05
    np.testing.assert_allclose(other.shear.angle_rad, -one.shear.angle_rad, atol=1e-4)


def test_the_same_input_gives_the_same_bytes_and_face_order_changes_no_figure():
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 10)
    shuffled = faces[np.random.default_rng(3).permutation(len(faces))]
    one, again, other = (laid((vertices, f)) for f in (faces, faces, shuffled))
    assert one.flat.tobytes() == again.flat.tobytes()
    assert one.energy == pytest.approx(other.energy, rel=1e-6)


def test_rough_scans_and_deep_bowls_never_flip():
    cap = meshes.spherical_cap(30.0, np.radians(110), 12)
    for mesh in (cap, (meshes.rough(*cap, 0.4, seed=2), cap[1])):
        result = laid(mesh, CLOTH)
        assert (face_areas(result.flat, mesh[1]) > 0).all()
        assert np.isfinite(result.energy)


def test_faces_without_area_spoil_no_figure():
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 20)
    weave = Weave(1.0, 1.0, 0.1, np.radians(50))
    sound = laid((vertices, faces), weave).shear
    vertices = vertices.copy()
    vertices[faces[400, 0]] = vertices[faces[400, 1]] + 1e-9
    dirty = laid((vertices, faces), weave)
    assert np.isfinite(dirty.flat).all()
    assert dirty.shear.largest_rad == pytest.approx(sound.largest_rad, rel=0.02)
    assert findings_of_shear(dirty.shear, np.arange(len(faces))) == ()


def test_interrupt_leaves_a_valid_flattening():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(80), 10)

    def stop(stage, share):
        raise KeyboardInterrupt

    result = laid((vertices, faces), progress=stop)
    assert result.stopped_by == "interrupt"
    assert (face_areas(result.flat, faces) > 0).all()


@pytest.mark.parametrize(
    ("weave", "grain", "words"),
    [
        (Weave(1.0, 0.0, 0.1), 0.0, "0 across"),
        (Weave(1.0, 1.0, float("nan")), 0.0, "nan in shear"),
        (Weave(-1.0, -1.0, -1.0), 0.0, "-1 along"),
        (Weave(lock_rad=0.0), 0.0, "lock of 0 degrees"),
        (Weave(), float("inf"), "direction of the grain"),
    ],
)
def test_materials_that_make_no_sense_are_refused(weave, grain, words):
    with pytest.raises(OptionError, match=words):
        laid(meshes.saddle(count=5), weave, grain_rad=grain)
