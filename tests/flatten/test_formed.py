"""The blank of annealed sheet: against axisymmetric optima in one dimension, handbook blanks, and what must hold."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.flatten.density_formed import formed_density
from meshflow.flatten.formed import formed
from meshflow.flatten.start import first_map
from meshflow.flatten.thickness import findings_of_forming, forming_of
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import face_areas
from meshflow.model.forming import Hardening

COPPER = Hardening(0.44, 0.75, 530.0)


def blank_of(mesh, hardening=COPPER, **options):
    vertices, faces = mesh
    rim = boundary_loops(faces)[0]
    start, _ = first_map(vertices, faces)
    return formed(vertices, faces, start, hardening=hardening, rim=rim, **{"sheet_mm": 1.0, **options})


def rim_radius(mesh, result):
    rim = boundary_loops(mesh[1])[0]
    return float(np.linalg.norm(result.flat[rim] - result.flat[0], axis=1).mean())


def axisymmetric_blank(radius, length, n, r):
    """Radius and thickness ratio of the blank of least plastic work of a shell of revolution, by L-BFGS.

    Own discretisation: `radius` at the nodes of the meridian, `length` of its elements; the unknowns are the natural
    strains along the meridian, the hoop strain follows from the radii of the blank.
    """
    from scipy.optimize import minimize

    middle = 0.5 * (radius[1:] + radius[:-1])
    share = middle * length / (middle * length).sum()
    factor = (1 + r) ** 2 / (1 + 2 * r)

    def blank(strain):
        rho = np.concatenate([[0.0], np.cumsum(np.exp(strain) * length)])
        return rho, 0.5 * (rho[1:] + rho[:-1]) / middle

    def work(x):
        _, hoop = blank(x)
        y, s = np.log(hoop), np.exp(x)
        q = factor * (x**2 + y**2 + 2 * r / (1 + r) * x * y) + 1e-8
        f = q ** ((n + 1) / 2) / (n + 1)
        once = q ** ((n - 1) / 2) * factor
        along, round_ = once * (x + r / (1 + r) * y), once * (y + r / (1 + r) * x)
        by_middle = share * s * (f + round_) / middle
        by_node = 0.5 * (np.append(0.0, by_middle) + np.append(by_middle, 0.0))
        moved = np.cumsum(by_node[:0:-1])[::-1]  # one step of the meridian moves all nodes outside it
        return float((share * s * hoop * f).sum()), share * s * hoop * (f + along) + moved * s * length

    options = {"maxiter": 20000, "maxfun": 40000, "ftol": 1e-15, "gtol": 1e-10, "maxcor": 50}
    found = minimize(work, np.zeros(len(length)), jac=True, method="L-BFGS-B", options=options)
    rho, hoop = blank(found.x)
    return rho[-1], np.exp(found.x) * hoop


def hemisphere_meridian(elements=400):
    angle = np.linspace(0, np.pi / 2, elements + 1)
    return np.sin(angle), np.full(elements, np.pi / 2 / elements)


def cup_meridian(elements=400):
    edge = round(elements * 25 / 55)
    s = np.concatenate([np.linspace(0, 25, edge + 1), np.linspace(25, 55, elements - edge + 1)[1:]])
    return np.minimum(s, 25.0), np.diff(s)


@pytest.mark.parametrize("n", [1.0, 0.44, 0.1])
@pytest.mark.parametrize("r", [0.6, 1.0, 2.0])
def test_derivatives_of_the_plastic_work_match_finite_differences(n, r):
    # The last pair lies beyond what any sheet bears, where the density is stiffened.
    for s in ([1.1, 0.9], [1.3, 1.2], [0.8, 0.7], [1.0, 0.95], [3.0, 0.3]):
        s1, s2, step = s[0], s[1], 1e-6
        _, p1, p2, p11, p12, p22 = formed_density(np.array([n, r]), s1, s2)
        more, less = (np.array(formed_density(np.array([n, r]), s1 + d, s2)) for d in (step, -step))
        by_1 = (more - less) / (2 * step)
        more, less = (np.array(formed_density(np.array([n, r]), s1, s2 + d)) for d in (step, -step))
        by_2 = (more - less) / (2 * step)
        np.testing.assert_allclose(
            [p1, p2, p11, p12, p22], [by_1[0], by_2[0], by_1[1], by_1[2], by_2[2]], rtol=1e-5, atol=1e-6
        )


def test_a_tensile_test_is_measured_as_its_own_strain():
    # Definition of the equivalent strain (Hill): in tension e2 = -r / (1 + r) e1 and the equivalent strain is e1.
    n, r, e = 0.3, 0.8, 0.2
    s1, s2 = np.exp(-e), np.exp(r / (1 + r) * e)
    psi = formed_density(np.array([n, r]), s1, s2)[0]
    # The elastic strain of 0.1 % takes a thousandth of it away.
    assert psi / (s1 * s2) == pytest.approx(e ** (n + 1) / (n + 1), rel=2e-3)


@pytest.mark.parametrize("n", [1.0, 0.1])
def test_shrinking_a_face_to_nothing_costs_more_and_more(n):
    # The work alone would fall to 0 with the blank it is done on.
    strains = np.linspace(1.6, 8.0, 20)
    both = [formed_density(np.array([n, 1.0]), np.exp(-e), np.exp(-e))[0] for e in strains]
    one = [formed_density(np.array([n, 1.0]), 1.0, np.exp(-e))[0] for e in strains]
    assert (np.diff(both) > 0).all()
    assert (np.diff(one) > 0).all()


@pytest.mark.parametrize(("n", "r"), [(0.54, 1.0), (0.54, 0.8), (0.44, 0.75), (0.1, 1.0)])
def test_hemisphere_reaches_the_axisymmetric_optimum(n, r):
    mesh = meshes.spherical_cap(1.0, np.pi / 2, 28)
    result = blank_of(mesh, Hardening(n, r))
    radius, thickness = axisymmetric_blank(*hemisphere_meridian(), n, r)
    assert rim_radius(mesh, result) == pytest.approx(radius, rel=1e-3)
    assert result.forming.exponent == n
    assert result.forming.thickness_mm.min() == pytest.approx(thickness.min(), abs=0.015)
    assert result.forming.thickness_mm.max() == pytest.approx(thickness.max(), abs=0.015)


@pytest.mark.parametrize(("n", "r"), [(0.54, 1.0), (0.44, 0.75)])
def test_cup_reaches_the_axisymmetric_optimum(n, r):
    mesh = meshes.drawn_cup(rings=44)
    result = blank_of(mesh, Hardening(n, r))
    radius, thickness = axisymmetric_blank(*cup_meridian(), n, r)
    assert rim_radius(mesh, result) == pytest.approx(radius, rel=1e-3)
    assert result.forming.thickness_mm.min() == pytest.approx(thickness.min(), abs=0.015)
    assert result.forming.thickness_mm.max() == pytest.approx(thickness.max(), abs=0.015)


def test_equal_area_blanks_are_those_of_the_handbook():
    # Machinery's Handbook, diameters of blanks for drawn shells: cup sqrt(d^2 + 4 d h), hemisphere d sqrt 2 (recalled;
    # the cup also read in exam texts: d 25, h 15 give 46).
    cup = blank_of(meshes.drawn_cup(50.0, 30.0)).forming
    ball = blank_of(meshes.spherical_cap(25.0, np.pi / 2, 28)).forming
    assert 2 * np.sqrt(cup.equal_area_mm2 / np.pi) == pytest.approx(np.sqrt(50**2 + 4 * 50 * 30), rel=1.5e-3)
    assert 2 * np.sqrt(ball.equal_area_mm2 / np.pi) == pytest.approx(50 * np.sqrt(2), rel=1e-3)
    small = meshes.drawn_cup(25.0, 15.0, rings=44)
    assert 2 * np.sqrt(face_areas(*small).sum() / np.pi) == pytest.approx(46, abs=0.2)


def test_the_blank_is_cut_to_the_larger_of_both_and_its_trim():
    # Both blanks of a hemisphere are round, so that the band between them has one width.
    mesh = meshes.spherical_cap(25.0, np.pi / 2, 28)
    result = blank_of(mesh, trim_mm=3.0)
    forming = result.forming
    assert forming.one_step_mm2 < forming.equal_area_mm2
    cut = rim_radius(mesh, result) + forming.allowance_mm
    assert cut == pytest.approx(25 * np.sqrt(2) + 3.0, rel=1e-3)
    # Without a word the trim is 2 mm for each 25 mm of rim diameter, half of it on each side.
    assert blank_of(mesh).forming.trim_mm == pytest.approx(2.0, rel=2e-3)


def test_low_hardening_does_not_collapse():
    ball = blank_of(meshes.spherical_cap(1.0, np.pi / 2, 16), Hardening(0.1, 1.0))
    assert ball.stopped_by == "converged"
    assert ball.forming.exponent == 0.1
    assert ball.forming.thickness_mm.min() > 0.7


def test_a_cup_too_deep_for_low_hardening_is_solved_for_more_of_it_and_says_so():
    mesh = meshes.drawn_cup(rings=28)
    result = blank_of(mesh, Hardening(0.1, 1.0))
    assert result.stopped_by == "converged"
    assert result.forming.exponent > 0.1
    assert result.forming.torn_share == 0.0
    assert result.forming.thickness_mm.min() > 0.8
    assert "F123" in [note.code for note in findings_of_forming(result.forming)]
    rim = np.linalg.norm(result.flat[boundary_loops(mesh[1])[0]] - result.flat[0], axis=1)
    assert np.ptp(rim) < 0.005 * rim.mean()  # no shear bands: the blank stays round


def test_the_volume_of_the_metal_is_kept():
    vertices, faces = meshes.saddle(count=15)
    forming = blank_of((vertices, faces), sheet_mm=0.8).forming
    volume = float((forming.thickness_mm * face_areas(vertices, faces)).sum())
    assert volume == pytest.approx(0.8 * forming.one_step_mm2, rel=1e-9)


def test_work_in_joules_is_the_energy_that_was_made_least():
    # Two ways: from the stretch of the finished blank with Hollomon and Hill written out, and the minimiser's energy,
    # which leaves out the elastic 0.1 % of strain.
    mesh = meshes.spherical_cap(25.0, np.radians(70), 14)
    result = blank_of(mesh, sheet_mm=0.8)
    assert result.forming.work_j == pytest.approx(1e-3 * 530 * 0.8 * face_areas(*mesh).sum() * result.energy, rel=2e-3)


def test_work_of_a_uniform_stretch_is_known():
    # Both ways by 10 %, r = 1: the equivalent strain is twice the strain (volume kept, Hill); K e^(n+1) / (n+1) a mm3.
    vertices, faces = meshes.flat_disk(50.0, 4)
    rim = boundary_loops(faces)[0]
    forming = forming_of(
        vertices, vertices[:, :2] / 1.1, faces, rim, hardening=Hardening(0.5, 1.0, 300.0), sheet_mm=2.0
    )
    strain = 2 * np.log(1.1)
    volume = 2.0 * face_areas(vertices, faces).sum() / 1.21
    assert forming.work_j == pytest.approx(1e-3 * volume * 300 * strain**1.5 / 1.5, rel=1e-9)


def test_sheet_that_resists_thinning_thins_less():
    mesh = meshes.spherical_cap(25.0, np.radians(80), 12)
    thinnest = [blank_of(mesh, Hardening(0.4, r)).forming.thickness_mm.min() for r in (0.6, 1.0, 1.8)]
    assert thinnest == sorted(thinnest)
    assert thinnest[2] - thinnest[0] > 0.02


def test_a_rim_that_must_gather_is_warned_of_and_a_gentle_one_is_not():
    steep = blank_of(meshes.spherical_cap(25.0, np.pi / 2, 12)).forming
    gentle = blank_of(meshes.spherical_cap(25.0, np.radians(25), 12)).forming
    assert steep.rim_thickening > 0.10
    assert [note.code for note in findings_of_forming(steep)] == ["F121"]
    assert findings_of_forming(gentle) == ()
    assert 0.0 < gentle.rim_thickening < 0.10


def test_a_rim_that_thins_is_no_wrinkle():
    assert blank_of(meshes.saddle(count=15, twist=30.0)).forming.rim_thickening < 0.10


def test_half_a_rim_that_thickens_is_half_of_its_length():
    # A flat disk pulled to twice its length in x: thickness doubles all over; a rim of which one side alone thickens.
    vertices, faces = meshes.flat_disk(50.0, 8)
    flat = vertices[:, :2] * np.where(vertices[:, :1] > 0, [1.3, 1.0], [1.0, 1.0])
    forming = forming_of(vertices, flat, faces, boundary_loops(faces)[0], hardening=COPPER, sheet_mm=1.0)
    assert forming.wrinkling_share == pytest.approx(0.5, abs=0.03)
    assert forming.rim_thickening == pytest.approx(0.3, rel=1e-9)


def opened_zone(low=30.0, high=80.0, around=49, up=13):
    """A zone of a sphere of radius 25 between two polar angles, opened along a meridian: mesh and sewn pairs."""
    phi, polar = np.meshgrid(np.linspace(0, 2 * np.pi, around), np.radians(np.linspace(high, low, up)))
    r = 25.0 * np.sin(polar)
    vertices = np.stack([r * np.cos(phi), r * np.sin(phi), 25.0 * np.cos(polar)], axis=2).reshape(-1, 3)
    rows = np.arange(up) * around
    vertices[rows + around - 1] = vertices[rows]
    return (vertices, meshes.grid_faces(around, up)), np.stack([rows, rows + around - 1], axis=1)


def test_the_sides_of_a_seam_are_no_free_rim():
    # They are joined before the piece is formed: only the two circles wrinkle, are trimmed and get the allowance.
    mesh, pairs = opened_zone()
    closed, cut = (blank_of(mesh, sewn=sewn) for sewn in (pairs, None))
    np.testing.assert_array_equal(closed.flat, cut.flat)
    rim = boundary_loops(mesh[1])[0]
    sides = [cut.flat[pairs[:, side]] for side in (0, 1)]
    seam = sum(np.linalg.norm(np.diff(side, axis=0), axis=1).sum() for side in sides)
    whole = np.linalg.norm(np.diff(cut.flat[np.append(rim, rim[0])], axis=0), axis=1).sum()
    assert cut.forming.rim_length_mm == pytest.approx(whole, rel=1e-12)
    assert closed.forming.rim_length_mm == pytest.approx(whole - seam, rel=1e-12)
    # The trim goes by the greater of the two circles, 25 sin 80 degrees in radius (48 chords).
    assert closed.forming.trim_mm == pytest.approx(0.04 * 2 * 25 * np.sin(np.radians(80)), rel=2e-3)
    # A strip beside the seam that is thickened on purpose is no wrinkle.
    vertices, faces = mesh
    squeezed = cut.flat.copy()
    near = np.arange(len(squeezed)) % 49 == 1
    squeezed[near] += 0.5 * (squeezed[near] - squeezed[np.arange(len(squeezed)) % 49 == 0])
    shares = [
        forming_of(vertices, squeezed, faces, rim, hardening=COPPER, sheet_mm=1.0, sewn=sewn).wrinkling_share
        for sewn in (pairs, None)
    ]
    assert shares[0] < 0.05 < shares[1]


def test_the_legs_of_a_dart_are_no_free_rim_and_the_rim_they_part_is_one():
    # A disk with a dart: its mouth closes, so the trim goes by the whole circle.
    vertices, faces = meshes.developable_cone(np.radians(60), 2 * np.pi, slant=50, slant_top=10, around=61, up=6)
    rows = np.arange(6) * 61
    vertices[rows + 60] = vertices[rows]
    pairs = np.stack([rows, rows + 60], axis=1)
    flat, rim = first_map(vertices, faces)[0], boundary_loops(faces)[0]
    legs = forming_of(vertices, 0.8 * flat, faces, rim, hardening=COPPER, sheet_mm=1.0, sewn=pairs[:4])
    chord = 2 * 50 * np.sin(np.radians(60)) * np.sin(np.pi / 60)
    # The inner circle hangs together with the two last steps of the slit, which stay open: 60 chords outside are more.
    assert legs.trim_mm == pytest.approx(0.04 * 60 * chord / np.pi, rel=1e-9)
    assert legs.rim_length_mm == pytest.approx(0.8 * (60 * chord * 1.2 + 2 * 2 * 8.0), rel=1e-6)


def test_a_piece_joined_all_round_has_no_rim_to_leave_anything_at():
    vertices, faces = meshes.flat_disk(50.0, 4)
    rim = boundary_loops(faces)[0]
    pairs = np.stack([rim, np.roll(rim[::-1], 1)], axis=1)[: len(rim) // 2 + 1]
    forming = forming_of(vertices, 0.8 * vertices[:, :2], faces, rim, hardening=COPPER, sheet_mm=1.0, sewn=pairs)
    assert (forming.rim_length_mm, forming.trim_mm, forming.allowance_mm) == (0.0, 0.0, 0.0)
    assert (forming.wrinkling_share, forming.rim_thickening) == (0.0, 0.0)
    assert [note.code for note in findings_of_forming(forming)] == []


def test_a_bent_sheet_keeps_its_thickness_and_needs_no_trim():
    vertices, faces = meshes.developable_cylinder(around=31, up=5)
    flat, _ = first_map(vertices, faces)
    forming = forming_of(vertices, flat, faces, boundary_loops(faces)[0], hardening=COPPER, sheet_mm=0.8)
    assert np.abs(forming.thickness_mm - 0.8).max() < 1e-9
    assert forming.allowance_mm == pytest.approx(0.0, abs=1e-4)
    assert findings_of_forming(forming) == ()


def test_size_and_place_change_no_thickness():
    vertices, faces = meshes.saddle(count=13)
    here = blank_of((vertices, faces)).forming
    there = blank_of((7.0 * meshes.turned(vertices), faces)).forming
    np.testing.assert_allclose(here.thickness_mm, there.thickness_mm, rtol=1e-5)
    assert there.one_step_mm2 == pytest.approx(49 * here.one_step_mm2, rel=1e-6)


def test_face_order_changes_no_figure_and_the_same_input_gives_the_same_bytes():
    vertices, faces = meshes.spherical_cap(30.0, np.radians(70), 10)
    shuffled = faces[np.random.default_rng(3).permutation(len(faces))]
    one, again, other = (blank_of((vertices, f)) for f in (faces, faces, shuffled))
    assert one.flat.tobytes() == again.flat.tobytes()
    assert one.forming.one_step_mm2 == pytest.approx(other.forming.one_step_mm2, rel=1e-7)


def test_a_mirrored_piece_has_the_mirrored_blank():
    vertices, faces = meshes.saddle(count=13)
    faces = faces[vertices[faces, 0].mean(axis=1) < 0.5 * vertices[faces, 1].mean(axis=1)]  # no mirror image of itself
    used, faces = np.unique(faces, return_inverse=True)
    vertices, faces = vertices[used], faces.reshape(-1, 3)
    one = blank_of((vertices, faces)).flat
    other = blank_of((vertices * [-1.0, 1.0, 1.0], faces[:, ::-1])).flat
    assert best_fit_error(other, one * [-1.0, 1.0]) < 1e-4
    assert best_fit_error(other, one) > 1.0


def best_fit_error(points, target):
    """Largest distance [mm] after the best move and turn, without a reflection (Kabsch)."""
    points, target = points - points.mean(axis=0), target - target.mean(axis=0)
    u, _, v = np.linalg.svd(points.T @ target)
    turn = u @ np.diag([1.0, np.linalg.det(u @ v)]) @ v
    return float(np.linalg.norm(points @ turn - target, axis=1).max())


def test_faces_without_area_spoil_no_figure():
    vertices, faces = meshes.spherical_cap(50.0, np.radians(60), 20)
    sound = blank_of((vertices, faces)).forming
    vertices = vertices.copy()
    vertices[faces[400, 0]] = vertices[faces[400, 1]] + 1e-9
    dirty = blank_of((vertices, faces))
    assert np.isfinite(dirty.flat).all()
    assert dirty.forming.span_mm == pytest.approx(sound.span_mm, abs=0.005)
    assert [note.code for note in findings_of_forming(dirty.forming)] == []


def test_a_limb_that_cannot_lie_flat_ends_with_a_verdict():
    vertices, faces = meshes.spherical_cap(25.0, np.radians(165), 14)
    result = blank_of((vertices, faces))
    assert (face_areas(result.flat, faces) > 0).all()
    assert np.isfinite(result.energy)
    assert "F122" in [note.code for note in findings_of_forming(result.forming)]


@pytest.mark.parametrize("call", [1, 8, 14])
def test_interrupt_leaves_a_valid_blank_at_once(call):
    vertices, faces = meshes.spherical_cap(30.0, np.radians(80), 10)
    shares = []

    def stop(stage, share):
        shares.append(share)
        if len(shares) == call:
            raise KeyboardInterrupt

    result = blank_of((vertices, faces), Hardening(0.1), progress=stop)
    assert result.stopped_by == "interrupt"
    assert len(shares) == call
    assert shares == sorted(shares)
    assert (face_areas(result.flat, faces) > 0).all()


@pytest.mark.parametrize(
    ("hardening", "sheet", "words"),
    [
        (Hardening(0.0), 1.0, "hardening exponent of 0"),
        (Hardening(1.5), 1.0, "hardening exponent of 1.5"),
        (Hardening(float("nan")), 1.0, "hardening exponent of nan"),
        (Hardening(0.4, -1.0), 1.0, "anisotropy of -1"),
        (COPPER, 0.0, "sheet of 0 mm"),
    ],
)
def test_metals_that_make_no_sense_are_refused(hardening, sheet, words):
    with pytest.raises(OptionError, match=words):
        blank_of(meshes.saddle(count=5), hardening, sheet_mm=sheet)


def test_the_record_has_the_entries_of_the_contract():
    record = blank_of(meshes.spherical_cap(25.0, np.radians(60), 8), sheet_mm=0.8).forming.to_json()
    assert record["thickness"]["min_mm"] < 0.8 < record["thickness"]["max_mm"]
    assert {"one_step_mm2", "equal_area_mm2"} <= record["blanks"].keys()
