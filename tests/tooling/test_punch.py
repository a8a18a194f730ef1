"""Punch and die: the closed gap against nearest points and rays of other libraries; draft, undercut, cutter, solids.

Reliefs are closed forms: cords, caps, cones, a rosette; distances are those of scipy's k-d tree on dense samples of the
triangles and of trimesh (MIT), neither of which made the faces.
"""

from __future__ import annotations

import functools

import igl
import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from meshflow.errors import InputError, OptionError
from meshflow.geometry.envelope import close_by_ball, grid_faces, open_by_ball
from meshflow.model.relief import Relief
from meshflow.model.tool import Tool
from meshflow.stock import load_stock
from meshflow.tooling.faces import Faces
from meshflow.tooling.gap import measured_gap
from meshflow.tooling.punch import faces_of, punch_tool
from meshflow.tooling.punch_options import PunchOptions

PITCH = 0.1


def _grid(half: float) -> tuple[np.ndarray, np.ndarray]:
    x = np.arange(-half, half + 0.5 * PITCH, PITCH)
    return tuple(np.meshgrid(x, x))  # type: ignore[return-value]


def _relief(height: np.ndarray, x: np.ndarray, y: np.ndarray, radius: float, **more: object) -> Relief:
    inside = np.hypot(x, y) < radius
    origin = (float(x[0, 0]), float(y[0, 0]))
    return Relief("test piece", np.where(inside, height, 0.0), inside, PITCH, origin, **more)  # type: ignore[arg-type]


def _cap(radius: float = 6.0, sunk: float = 4.0) -> Relief:
    x, y = _grid(8.0)
    return _relief(np.maximum(np.sqrt(np.maximum(radius**2 - x**2 - y**2, 0.0)) - sunk, 0.0), x, y, 7.0)


def _cord(radius: float = 1.5) -> Relief:
    """A ring of half-round cord on flat ground."""
    x, y = _grid(9.0)
    off = np.abs(np.hypot(x, y) - 5.0)
    return _relief(np.sqrt(np.maximum(radius**2 - off**2, 0.0)), x, y, 8.0)


def _rosette() -> Relief:
    x, y = _grid(9.0)
    r, angle = np.hypot(x, y), np.arctan2(y, x)
    leaves = 0.9 * np.cos(4.0 * angle) ** 2 * np.sin(np.clip((r - 2.0) / 5.0, 0.0, 1.0) * np.pi) ** 2
    button = np.sqrt(np.maximum(6.0 - r**2, 0.0)) * 0.5
    return _relief(np.maximum(leaves, button), x, y, 8.0)


def _post(**more: object) -> Relief:
    """A round post with upright walls, 1.5 mm high."""
    x, y = _grid(6.0)
    return _relief(np.where(np.hypot(x, y) < 2.5, 1.5, 0.0), x, y, 5.0, **more)


def _options(**more: object) -> PunchOptions:
    return PunchOptions(**{"thickness_mm": 0.8, "cutter_radius_mm": 0.0, "draft_deg": 3.0, **more})  # type: ignore[arg-type]


def _quick(**more: object) -> PunchOptions:
    """Sheet of 1 mm, for which the grid needs no dividing."""
    return _options(**{"thickness_mm": 1.0, **more})


def _faces(relief: Relief, **more: object) -> Faces:
    return faces_of(relief, _options(**more), load_stock())


@functools.cache
def _tool(kind: str, nominal: str = "outer") -> Tool:
    relief = {"cap": _cap, "rosette": _rosette, "post": _post}[kind]()
    return punch_tool(relief, _quick(nominal=nominal, engraving_mm=0.0), stock=load_stock(), name=kind)


def _mesh(faces: Faces, height: np.ndarray) -> trimesh.Trimesh:
    x, y = np.meshgrid(faces.x, faces.y)
    points = np.stack([x.ravel(), y.ravel(), height.ravel()], axis=1)
    return trimesh.Trimesh(points, grid_faces(*height.shape), process=False)


def _dense(mesh: trimesh.Trimesh, inner: np.ndarray, steps: int = 2) -> np.ndarray:
    """Points all over the triangles of a mesh whose first corner is asked for."""
    faces = mesh.faces[inner[mesh.faces[:, 0]]]
    weights = [(i, j, steps - i - j) for i in range(steps + 1) for j in range(steps + 1 - i)]
    return np.einsum("wk,fkd->wfd", np.array(weights) / steps, mesh.vertices[faces]).reshape(-1, 3)


def _nearest(faces: Faces, within: float) -> tuple[np.ndarray, np.ndarray]:
    """Distance from samples of each face to a dense cloud on the other, and where the samples stand."""
    x, y = np.meshgrid(faces.x, faces.y)
    middle = (np.hypot(x, y) < within).ravel()
    wide = (np.hypot(x, y) < within + 2.0).ravel()
    found, places = [], []
    for one, two in ((faces.outer, faces.inner), (faces.inner, faces.outer)):
        cloud = cKDTree(_dense(_mesh(faces, two), wide))
        points = _mesh(faces, one).vertices[middle][::5]
        found.append(cloud.query(points)[0])
        places.append(points)
    return np.concatenate(found), np.concatenate(places)


@pytest.mark.parametrize("nominal", ["outer", "inner"])
@pytest.mark.parametrize(("piece", "feet"), [(_cap, [np.sqrt(20.0)]), (_cord, [3.5, 6.5])])
def test_gap_is_the_thickness_but_for_hollows_tighter_than_it(piece: object, feet: list[float], nominal: str) -> None:
    # From the outer face the sheet lies inside ridges of radius 1.5 and 6 mm, more than its 0.8; only the ragged
    # samples of the sharp foot are hollow. From the inner face it lies in the sharp foot, and the gap opens there.
    faces = _faces(piece(), nominal=nominal)  # type: ignore[operator]
    distance, places = _nearest(faces, 7.5)
    assert distance.min() > 0.8 - 0.005
    off = np.min([np.abs(np.hypot(places[:, 0], places[:, 1]) - foot) for foot in feet], axis=0)
    near = 0.2 if nominal == "outer" else 1.2
    assert (off > near).sum() > 1000
    # A cloud is a little farther than the triangles it lies on: 0.0002 mm here.
    assert distance[off > near].max() < 0.8 + 0.02 + 0.0002
    listed = measured_gap(faces).listed
    assert all(min(abs(np.hypot(place.x_mm, place.y_mm) - foot) for foot in feet) <= near for place in listed)
    if nominal == "inner":
        assert distance.max() > 0.85
        assert listed[0].value_mm == pytest.approx(distance.max(), abs=0.005)
    else:
        assert distance.max() < 0.87


def test_gap_measured_agrees_with_the_nearest_points_of_another_library() -> None:
    faces = _faces(_rosette())
    gap = measured_gap(faces)
    x, y = np.meshgrid(faces.x, faces.y)
    pick = np.flatnonzero((np.hypot(x, y) < 8.0).ravel())[::97]
    cloud = cKDTree(_dense(_mesh(faces, faces.inner), np.ones(x.size, bool)))
    distance, _ = cloud.query(_mesh(faces, faces.outer).vertices[pick])
    assert len(pick) > 300
    # A cloud is a little farther than the triangles it lies on.
    assert (gap.over.ravel()[pick] + faces.gap_mm >= distance - 1e-3).all()
    assert distance.min() >= gap.least_mm - 1e-6
    assert gap.least_mm > 0.8 - 0.01


def test_a_ray_along_the_normal_crosses_the_gap_in_the_thickness() -> None:
    faces = _faces(_cap())
    x, y = np.meshgrid(faces.x, faces.y)
    top = (np.hypot(x, y) < 3.0).ravel()
    start = _mesh(faces, faces.outer).vertices[top][::307]
    # The cap is a ball about (0, 0, -4): its normal is known in closed form.
    way = np.array([0.0, 0.0, -4.0]) - start
    way /= np.linalg.norm(way, axis=1)[:, None]
    inner = _mesh(faces, faces.inner)
    far = np.array([_along(inner, one, other).min() for one, other in zip(start, way, strict=True)])
    assert len(far) > 30
    assert np.abs(far - 0.8).max() < 0.005


def _along(mesh: trimesh.Trimesh, start: np.ndarray, way: np.ndarray) -> np.ndarray:
    """How far along a ray it meets triangles (T. Moeller, B. Trumbore, 1997)."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    one, two, to = b - a, c - a, start - a
    across = np.cross(way, two)
    scale = np.einsum("ij,ij->i", one, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.einsum("ij,ij->i", to, across) / scale
        turned = np.cross(to, one)
        v = turned @ way / scale
        far = np.einsum("ij,ij->i", turned, two) / scale
        hit = (np.abs(scale) > 1e-15) & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1.0 + 1e-9) & (far > 0.0)
    return far[hit]


def test_every_place_where_the_gap_opens_is_listed_with_its_gap() -> None:
    # A roof with sides of 45 degrees: its ridge is hollow for the sheet with radius 0. The inner face makes a sharp
    # ridge, sqrt(2) t below, and the ridge of the die is as far from it: closed form.
    x, y = _grid(8.0)
    faces = _faces(_relief(np.maximum(3.0 - np.abs(x), 0.0) * (np.abs(y) < 6.0), x, y, 7.0), draft_deg=3.0)
    gap = measured_gap(faces)
    assert gap.listed[0].value_mm == gap.most_mm
    row = int(np.argmin(np.abs(faces.y)))
    column = int(np.argmin(np.abs(faces.x)))
    assert faces.outer[row, column] - faces.inner[row, column] == pytest.approx(0.8 * np.sqrt(2.0), abs=0.005)
    assert gap.over[row, column] == pytest.approx(0.8 * (np.sqrt(2.0) - 1.0), abs=0.005)
    listed = gap.over > 0.02
    assert listed[row, column]
    assert not listed[row, np.abs(np.abs(faces.x) - 1.5) < 0.3].any()


def test_clearance_is_added_to_the_gap_all_over() -> None:
    faces = _faces(_cap(), clearance_mm=0.05)
    distance, _ = _nearest(faces, 6.0)
    assert faces.gap_mm == pytest.approx(0.85)
    assert distance.min() > 0.845
    assert distance.max() < 0.876


@pytest.mark.parametrize("draft", [3.0, 10.0, 30.0])
def test_no_triangle_of_either_face_is_steeper_than_the_draft(draft: float) -> None:
    for piece in (_post(), _cord()):
        faces = _faces(piece, draft_deg=draft)
        for height in (faces.outer, faces.inner):
            lean = np.degrees(np.arccos(_mesh(faces, height).face_normals[:, 2]))
            assert lean.max() <= 90.0 - draft + 1e-6


def test_draft_lays_a_wall_back_at_its_foot_and_keeps_the_top() -> None:
    faces = _faces(_post(), draft_deg=10.0)
    x, y = np.meshgrid(faces.x, faces.y)
    r = np.hypot(x, y)
    assert np.abs(faces.outer[r < 2.4] - 1.5).max() < 1e-9
    # A frustum of cone 1.5 mm high under 10 degrees: its volume less that of the post.
    run = 1.5 * np.tan(np.radians(10.0))
    exact = np.pi * 1.5 * ((2.5 + run) ** 2 + (2.5 + run) * 2.5 + 2.5**2) / 3.0 - np.pi * 2.5**2 * 1.5
    assert faces.filled.sum() * faces.pitch_mm**2 == pytest.approx(exact, rel=0.35)
    assert (faces.filled >= -1e-9).all()


def test_a_planted_undercut_is_found_and_its_place_told() -> None:
    x, y = _grid(6.0)
    leans = (np.abs(x - 2.5) < 0.3) & (np.abs(y) < 0.5)
    sound = punch_tool(_post(), _quick(), stock=load_stock())
    tool = punch_tool(_post(overhang=leans), _quick(), stock=load_stock())
    found = [note for note in tool.notes if note.code == "T102"]
    assert len(found) == 1
    assert found[0].count == 1
    assert found[0].at_mm is not None
    assert abs(found[0].at_mm[0] - 2.5) < 0.4
    assert tool.record["undercut_mm2"] == pytest.approx(leans.sum() * PITCH**2, rel=0.2)
    assert "T102" not in [note.code for note in sound.notes]


def test_the_faces_can_be_milled_with_the_cutter_asked_for() -> None:
    x, y = _grid(8.0)
    roof = _relief(np.maximum(2.0 - np.abs(x), 0.0) * np.clip(6.0 - np.abs(y), 0.0, 1.0), x, y, 7.5)
    for nominal in ("outer", "inner"):
        for radius in (0.5, 1.4):  # under and over the thickness
            faces = _faces(roof, nominal=nominal, cutter_radius_mm=radius, draft_deg=10.0, thickness_mm=1.0)
            left_in_die = faces.outer - open_by_ball(faces.outer, pitch=faces.pitch_mm, radius=radius)
            left_on_punch = close_by_ball(faces.inner, pitch=faces.pitch_mm, radius=radius) - faces.inner
            inner = (slice(30, -30), slice(30, -30))
            assert left_in_die[inner].max() < 0.03
            assert left_on_punch[inner].max() < 0.03


def test_the_cutter_takes_a_sharp_ridge_off_by_the_closed_form_and_lists_it() -> None:
    x, y = _grid(8.0)
    roof = _relief(np.maximum(3.0 - np.abs(x), 0.0) * (np.abs(y) < 6.0), x, y, 7.0)
    tool = punch_tool(roof, _quick(cutter_radius_mm=0.5), stock=load_stock())
    faces = _faces(roof, cutter_radius_mm=0.5, thickness_mm=1.0)
    row, column = int(np.argmin(np.abs(faces.y))), int(np.argmin(np.abs(faces.x)))
    # A ball of radius r in a groove of 90 degrees leaves r (sqrt(2) - 1).
    assert faces.outer[row, column] == pytest.approx(3.0 - 0.5 * (np.sqrt(2.0) - 1.0), abs=0.005)
    bites = [note for note in tool.notes if note.code == "T104"]
    assert len(bites) == 1
    assert bites[0].count == tool.record["cutter_bites"]["n"] > 0
    smooth = 0.8 * np.cos(np.clip(np.hypot(x, y) / 6.0, 0.0, 1.0) * np.pi / 2.0) ** 2
    sound = punch_tool(_relief(smooth, x, y, 7.0), _quick(cutter_radius_mm=0.5), stock=load_stock())
    assert "T104" not in [note.code for note in sound.notes]


def test_a_cutter_that_is_too_short_is_told() -> None:
    short = punch_tool(_cap(), _quick(cutter_radius_mm=0.5, cutter_reach_mm=1.0), stock=load_stock())
    assert "T105" in [note.code for note in short.notes]
    assert "T105" not in [note.code for note in _tool("cap").notes]


@pytest.mark.parametrize("kind", ["cap", "rosette", "post"])
@pytest.mark.parametrize("nominal", ["outer", "inner"])
def test_solids_are_watertight_for_another_library_and_have_the_volume_of_their_face(kind: str, nominal: str) -> None:
    tool = _tool(kind, nominal)
    faces = _faces({"cap": _cap, "rosette": _rosette, "post": _post}[kind](), nominal=nominal, thickness_mm=1.0)
    along, across, height = tool.record["block_mm"]
    holes = sum(32.0 * np.sin(2.0 * np.pi / 64.0) * (hole["diameter_mm"] / 2.0) ** 2 for hole in tool.record["holes"])
    for solid, face, sign in zip(tool.solids, (faces.inner, faces.outer), (1.0, -1.0), strict=True):
        mesh = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
        assert mesh.is_watertight
        assert mesh.is_winding_consistent
        land = tool.record["land_height_mm"][solid.name]
        below = _under(faces, sign * (face - face[0, 0]))
        assert mesh.volume == pytest.approx((along * across - holes) * land + below, abs=0.5)
        assert solid.size_mm == pytest.approx((along, across, height), abs=1e-4)


def _under(faces: Faces, height: np.ndarray) -> float:
    mesh = _mesh(faces, height)
    corners = mesh.vertices[mesh.faces]
    one, two = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = 0.5 * (one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])
    return float((area * corners[:, :, 2].mean(axis=1)).sum())


def test_the_solids_close_on_the_sheet_by_the_motion_in_the_record() -> None:
    tool = _tool("rosette")
    punch, die = (trimesh.Trimesh(solid.vertices, solid.faces, process=False) for solid in tool.solids)
    die.apply_transform(np.array(tool.record["die_onto_punch"]))
    assert die.volume > 0.0  # turned, not mirrored
    up = np.array([0.0, 0.0, 1.0])
    start = np.random.default_rng(4).uniform(-7.0, 7.0, (40, 2))
    tops = [_along(punch, np.array([x, y, -1.0]), up).max() - 1.0 for x, y in start]
    roofs = [_along(die, np.array([x, y, -1.0]), up).min() - 1.0 for x, y in start]
    assert (np.array(roofs) - tops).min() > 1.0 - 0.01
    cloud = cKDTree(_dense(die, np.ones(len(die.vertices), bool), steps=1))
    distance, _ = cloud.query(np.column_stack([start, tops]))
    assert distance.min() > 1.0 - 0.01
    assert np.median(distance) == pytest.approx(1.0, abs=0.005)


def test_holes_of_punch_and_die_meet_when_the_pair_is_closed_and_in_one_way_only() -> None:
    tool = _tool("cap")
    plans = {drawing.name: drawing for drawing in tool.drawings}
    middle = 0.5 * (plans["punch-plan"].extents[0] + plans["punch-plan"].extents[2])
    circles = {
        name: {
            (round(s.curve.centre[0], 6), round(s.curve.centre[1], 6))
            for s in plans[name].strokes
            if str(s.layer) == "CUT_INSIDE"
        }
        for name in ("punch-plan", "die-plan")
    }
    turned = {(round(2.0 * middle - x, 6), y) for x, y in circles["die-plan"]}
    assert turned == circles["punch-plan"]
    dowels = [hole["at_mm"] for hole in tool.record["holes"] if hole["kind"] == "dowel"]
    low, high = np.array(plans["punch-plan"].extents[:2]), np.array(plans["punch-plan"].extents[2:])
    half_round = [(low + high - at).tolist() for at in np.array(dowels)]
    assert min(np.hypot(*(np.array(a) - b)) for a in half_round for b in np.array(dowels)) > 4.0


def test_the_step_beyond_the_land_is_in_the_solid() -> None:
    tool = punch_tool(_cap(), _quick(land_step_mm=1.0, engraving_mm=0.0), stock=load_stock())
    for solid in tool.solids:
        mesh = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
        assert mesh.is_watertight
        land = tool.record["land_height_mm"][solid.name]
        corner = mesh.vertices[np.argmax(mesh.vertices @ [1.0, 1.0, 1e-3])]
        assert corner[2] == pytest.approx(land - 1.0, abs=1e-4)


def test_a_block_larger_than_any_bar_or_mill_is_told() -> None:
    tool = punch_tool(_cap(), _quick(land_mm=400.0), stock=load_stock())
    assert {"T106", "T112"} <= {note.code for note in tool.notes}
    assert not {"T106", "T112"} & {note.code for note in _tool("cap").notes}


def test_a_rim_through_the_ornament_comes_down_to_the_land_and_is_told() -> None:
    x, y = _grid(8.0)
    tool = punch_tool(_relief(np.full_like(x, 2.0), x, y, 6.0), _quick(blend_mm=3.0), stock=load_stock())
    assert "T108" in [note.code for note in tool.notes]
    low, high = tool.record["trim_line_mm"]["heights"]
    assert 1.5 < low <= high <= 2.0
    assert tool.record["trim_line_mm"]["formed_length"] == pytest.approx(2.0 * np.pi * 6.0, rel=0.06)
    assert "T108" not in [note.code for note in _tool("cap").notes]


def test_noise_in_the_faces_is_told() -> None:
    x, y = _grid(4.0)
    noise = 0.03 * np.random.default_rng(1).standard_normal(x.shape)
    options = _quick(cutter_radius_mm=0.5)
    loud = punch_tool(_relief(noise, x, y, 3.5, noise_mm=0.03), options, stock=load_stock())
    calm = punch_tool(_relief(0.02 * noise, x, y, 3.5, noise_mm=0.0006), options, stock=load_stock())
    assert "T111" in [note.code for note in loud.notes]
    assert "T111" not in [note.code for note in calm.notes]


def test_a_grid_that_is_coarse_for_the_sheet_is_told_or_refused() -> None:
    coarse = Relief("flat", np.zeros((400, 400)), np.ones((400, 400), bool), 0.7)
    assert "T109" in [note.code for note in punch_tool(coarse, _options(), stock=load_stock()).notes]
    assert "T109" not in [note.code for note in _tool("cap").notes]
    with pytest.raises(OptionError, match="too coarse"):
        punch_tool(coarse, _options(thickness_mm=0.5), stock=load_stock())


def test_lettering_that_finds_no_room_is_told_and_bad_signs_are_refused() -> None:
    many = punch_tool(_post(), _quick(lettering="A LINE OF LETTERS " * 12), stock=load_stock())
    assert "T107" in [note.code for note in many.notes]
    none = punch_tool(_post(), _quick(lettering=""), stock=load_stock())
    assert "T107" not in [note.code for note in none.notes]
    with pytest.raises(OptionError, match="character"):
        punch_tool(_post(), _quick(lettering="né"), stock=load_stock())


def test_trim_line_template_and_blank_fit_each_other() -> None:
    tool = _tool("cap")
    plans = {drawing.name: drawing for drawing in tool.drawings}
    blank = plans["blank"].extents
    # The rim is a circle of 7 mm; the blank reaches at least blend and half the land beyond.
    beyond = tool.record["oversize_mm"]
    assert beyond >= 3.0 + 4.0
    assert blank[2] - blank[0] == pytest.approx(14.0 + 2.0 * beyond, abs=0.25)
    window = [s.curve for s in plans["scribe-template"].strokes if str(s.layer) == "CUT_INSIDE"]
    assert len(window) == 3  # two dowels and the trim line


def test_same_relief_gives_the_same_tool() -> None:
    one, two = (punch_tool(_cap(), _quick(), stock=load_stock()) for _ in range(2))
    for first, second in zip(one.solids, two.solids, strict=True):
        assert np.array_equal(first.vertices, second.vertices)
        assert np.array_equal(first.faces, second.faces)
    assert one.record == two.record


def test_an_empty_relief_is_refused() -> None:
    with pytest.raises(InputError, match="nothing lies inside"):
        punch_tool(Relief("void", np.zeros((9, 9)), np.zeros((9, 9), bool), 0.1), _quick(), stock=load_stock())


@pytest.mark.parametrize(
    "wrong",
    [
        {"thickness_mm": 0.0},
        {"thickness_mm": float("nan")},
        {"clearance_mm": -0.1},
        {"nominal": "middle"},
        {"draft_deg": 0.0},
        {"draft_deg": 90.0},
        {"draft_deg": float("nan")},
        {"land_mm": float("inf")},
        {"bolt_mm": 0.0},
        {"profiles_mm": (float("nan"),)},
    ],
)
def test_senseless_options_are_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(OptionError):
        PunchOptions(**{"thickness_mm": 0.8, **wrong})  # type: ignore[arg-type]


def test_what_was_not_said_comes_from_the_stock_with_its_mark() -> None:
    tool = punch_tool(_post(), PunchOptions(thickness_mm=0.8), stock=load_stock())
    by_label = {line.label: line for line in tool.sheet}
    # Draft 3 to 10 degrees per side is common practice; the least of it stands.
    assert tool.record["draft_deg"] == 3.0
    assert by_label["Least draft"].how.startswith("COMMON_PRACTICE")
    assert tool.record["cutter_radius_mm"] == 0.5
    assert tool.cautions
    assert all("licensed practice" in line for line in tool.cautions)


def _closed_distance(tool: Tool) -> np.ndarray:
    """Distance from samples of the die, laid onto the punch as the record says, to the punch: by libigl."""
    punch, die = (trimesh.Trimesh(solid.vertices, solid.faces, process=False) for solid in tool.solids)
    assert punch.is_watertight
    assert die.is_watertight
    die.apply_transform(np.array(tool.record["die_onto_punch"]))
    middles = die.triangles_center[np.hypot(*(die.triangles_center[:, :2]).T) < 7.0]
    low = middles[middles[:, 2] < tool.record["closed_height_mm"] - 8.0]  # the face, not the back
    found = igl.point_mesh_squared_distance(low, np.asarray(punch.vertices), np.asarray(punch.faces))
    return np.sqrt(found[0])


def test_thinned_solids_close_on_the_gap_within_twice_the_tolerance() -> None:
    made = [
        punch_tool(_cap(), _quick(engraving_mm=0.0, mesh_tolerance_mm=fine), stock=load_stock())
        for fine in (0.0, 0.002)
    ]
    whole, thin = (_closed_distance(tool) for tool in made)
    assert all(len(b.faces) < 0.8 * len(a.faces) for a, b in zip(made[0].solids, made[1].solids, strict=True))
    assert len(thin) > 1000
    assert thin.min() > whole.min() - 0.004
    assert thin.min() > 1.0 - 0.01
    assert thin.max() < whole.max() + 0.004
    assert made[0].record["land_height_mm"] == made[1].record["land_height_mm"]
    for a, b in zip(made[0].solids, made[1].solids, strict=True):
        assert b.size_mm == a.size_mm


def test_a_mesh_tolerance_under_nothing_is_refused() -> None:
    with pytest.raises(OptionError):
        _quick(mesh_tolerance_mm=-0.001)
