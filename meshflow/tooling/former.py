"""A former: the block over which wet leather is moulded or metal raised, or the hollow one it is pressed into.

Terms: the *land* is the flat rim beyond the edge of the piece, where it is tacked or clamped while it dries; a *vent*
lets air and water out of a hollow; a *block* is one of the pieces that the mill can take.

Convention: the block stands on its back, z = 0, its face up; x lies along its long side. `frame` in the record turns
scan into block: ``block = (scan - origin) @ axes.T``.

Findings: T160 leans back, filled; T161 less draft than asked for; T162 offset bridged or crossing; T163 split into
blocks; T164 no room for dowels; T165 openings closed; T166 hollow without a vent; T167 what the base was not.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.polygons import inside, least_rectangle_angle, material, shrunk, triangulated
from meshflow.geometry.release import best_direction, hidden_faces, leaning_back
from meshflow.geometry.solid import rim_half_edges, side_walls
from meshflow.geometry.solid_cut import plane_axes
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.curve import Polycurve
from meshflow.model.finding import Finding, Severity
from meshflow.model.region import Region
from meshflow.model.stock import Fact
from meshflow.model.tool import Figure, Solid, Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.cautions import caution_for
from meshflow.tooling.former_drawings import former_drawings
from meshflow.tooling.former_face import FormerFace, face_of, heights_over, plan_of
from meshflow.tooling.former_options import FormerOptions
from meshflow.tooling.hollows import bridge_depth, deepest
from meshflow.tooling.split import Pieces, Pins, split_body, travel_of

__all__ = ["Vent", "former_tool"]

_COARSE = 100  # samples along the longer side of the grid on which hollows are sought
_VENT_APART = 40.0  # mm
_DIGITS = 5


@dataclass(frozen=True, slots=True)
class Vent:
    """A vent hole, upright through the block.

    Parameters
    ----------
    x_mm, y_mm, z_mm : float
        Where it opens in the face [mm].
    hollow_mm : float
        How deep the hollow is under a skin drawn taut over it [mm].
    """

    x_mm: float
    y_mm: float
    z_mm: float
    hollow_mm: float


@dataclass(frozen=True, eq=False)
class _Set:
    """The form as it stands on the block."""

    axes: FloatArray
    origin: FloatArray
    vertices: FloatArray
    faces: IntArray
    back: BoolArray
    steep: BoolArray
    area: FloatArray


def former_tool(
    region: Region,
    shape: FloatArray,
    options: FormerOptions,
    *,
    stock: Stock | None = None,
    name: str = "former",
    notes: Sequence[Finding] = (),
    progress: Callable[[str, float], None] | None = None,
) -> Tool:
    """Make a former.

    Parameters
    ----------
    region : Region
        The piece.
    shape : (n, 3) float array
        Its vertices moved to the face of the block: off the scan by `FormerOptions.offset_mm` [mm].
    options : FormerOptions
        What is asked.
    stock : Stock, optional
        Machines, processes and their cautions; our own tables when left out.
    name : str
        Name of the tool.
    notes : sequence of Finding
        What moving the vertices had to say (M210, M211); they become T162.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Tool
        Solids ``block`` or ``block-1`` and so on; drawings ``plan`` and ``sections``.

    Raises
    ------
    OptionError
        If an option makes no sense for this piece.
    """
    stock = load_stock() if stock is None else stock
    report = progress or (lambda what, share: None)
    report("finding how it comes off", 0.0)
    rows = stock.process("wet_forming").facts
    land, base, vent = (
        _row(given, rows, key) for given, key in (
            (options.land_mm, "tack_land"), (options.base_mm, "former_base"), (options.vent_mm, "vent_hole")
        )
    )  # fmt: skip
    form = _set_up(region.faces, shape, options, base)
    pitch = _pitch(form.vertices, options)
    edge = plan_of(form.vertices, form.faces)
    report("laying out the face", 0.2)
    face = face_of(form.vertices, form.faces, edge, land_mm=land, pitch_mm=pitch)
    room = _travel(options, stock)
    vents, unvented = _vents(form, face, options, vent, pitch, room)
    if vents:
        holes = tuple((one.x_mm, one.y_mm, vent) for one in vents)
        face = face_of(form.vertices, form.faces, edge, land_mm=land, pitch_mm=pitch, holes=holes)
    report("making the block", 0.5)
    body = _block(face)
    report("splitting for the machine", 0.6)
    pieces = split_body(*body, room, _pins(options))
    solids = _solids(pieces, options)
    drawings = former_drawings(face, body, pieces, options, vents)
    found = _findings(region, form, options, face, pieces, unvented, notes)
    return Tool(
        name,
        "former",
        solids,
        drawings,
        _record(form, options, face, pieces, vents, land, base, pitch),
        _sheet(form, options, face, pieces, vents, land, rows),
        found,
        caution_for("wet-moulding", "hand-forming", "milling", "edges", stock=stock),
    )


def _row(given: float | None, rows: Any, key: str) -> float:
    if given is not None:
        return float(given)
    if key not in rows:
        raise OptionError(f"the stock has no row {key} for wet forming.", remedy="Say the length yourself.")
    return float(rows[key].span[0])


def _set_up(faces: IntArray, shape: FloatArray, options: FormerOptions, base: float) -> _Set:
    """Return the form turned so that it comes off upward, long side along x, its lowest place over the base."""
    if options.work == "into":
        faces = faces[:, ::-1]
    draft = math.radians(options.draft_deg)
    given = None if options.direction is None else np.asarray(options.direction, dtype=np.float64)
    way = best_direction(shape, faces, draft_rad=draft) if given is None else given / np.linalg.norm(given)
    axes = plane_axes(way)
    flat = shape @ axes.T
    angle = least_rectangle_angle(flat[:, :2])
    turn = np.array([[math.cos(angle), math.sin(angle), 0], [-math.sin(angle), math.cos(angle), 0], [0, 0, 1.0]])
    axes = turn @ axes
    if np.ptp(shape @ axes[0]) < np.ptp(shape @ axes[1]):
        axes = np.stack([axes[1], -axes[0], axes[2]])
    flat = shape @ axes.T
    low = flat.min(axis=0) - np.array([0.0, 0.0, base])
    back = leaning_back(shape, faces, way) | hidden_faces(shape, faces, way)
    if back.all():
        raise OptionError("all of the piece looks away from that direction.", remedy="Turn the direction round.")
    steep = leaning_back(shape, faces, way, draft_rad=draft) & ~back
    return _Set(axes, low @ axes, flat - low, faces, back, steep, face_areas(shape, faces))


def _pitch(vertices: FloatArray, options: FormerOptions) -> float:
    size = float(np.ptp(vertices[:, :2], axis=0).max())
    pitch = min(max(size / 400.0, 0.25), 2.0) if options.pitch_mm is None else options.pitch_mm
    if pitch > size / 4.0:
        raise OptionError(f"a pitch of {pitch:g} mm is too coarse for a piece {size:.0f} mm long.")
    return pitch


def _travel(options: FormerOptions, stock: Stock) -> tuple[float, float, float]:
    return travel_of(options.machine, stock)[1] if options.machine else (math.inf, math.inf, math.inf)


def _pins(options: FormerOptions) -> Pins:
    return Pins(diameter_mm=options.dowel_mm, depth_mm=options.dowel_depth_mm, wall_mm=6.0)


def _vents(
    form: _Set, face: FormerFace, options: FormerOptions, vent: float, pitch: float, room: tuple[float, ...]
) -> tuple[tuple[Vent, ...], int]:
    """Return vents in the deepest hollows, and how many hollows found no room for one."""
    low, high = face.edge.min(axis=0), face.edge.max(axis=0)
    step = max(float((high - low).max()) / _COARSE, pitch)
    x, y = (np.arange(a + 0.5 * step, b, step) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y), axis=-1)
    height = heights_over(form.vertices, form.faces, grid.reshape(-1, 2))[0].reshape(grid.shape[:2])
    area = material(Polycurve(face.edge))
    depth = bridge_depth(height, inside(area, grid.reshape(-1, 2)).reshape(height.shape))
    clear = inside(shrunk(area, 2.0 * vent), grid.reshape(-1, 2)).reshape(height.shape)
    clear &= ~_near_joints(grid, face, room, 3.0 * vent)
    hollow = deepest(depth, least=options.hollow_mm, apart=_VENT_APART / step, most=100)
    placed = deepest(
        np.where(clear, depth, 0.0),
        least=options.hollow_mm, apart=_VENT_APART / step, most=options.vents,
    )  # fmt: skip
    placed = [_lowest_near(r, c, height, np.where(clear, depth, 0.0), 0.5 * _VENT_APART / step) for r, c in placed]
    vents = tuple(Vent(float(x[c]), float(y[r]), float(height[r, c]), float(depth[r, c])) for r, c in placed)
    return vents, max(len(hollow) - len(vents), 0)


def _lowest_near(row: int, column: int, height: FloatArray, depth: FloatArray, reach: float) -> tuple[int, int]:
    """Return the lowest sample of a hollow about its deepest one: the ends of bridges are uneven, its floor is not."""
    r, c = np.nonzero(depth >= 0.8 * depth[row, column])
    near = np.hypot(r - row, c - column) <= reach
    r, c = r[near], c[near]
    k = int(np.argmin(np.round(height[r, c], 6)))
    return int(r[k]), int(c[k])


def _near_joints(grid: FloatArray, face: FormerFace, room: tuple[float, ...], away: float) -> BoolArray:
    """Return which samples lie so near to a joint that a hole would run into it."""
    low, high = face.outline.min(axis=0), face.outline.max(axis=0)
    near = np.zeros(grid.shape[:2], dtype=np.bool_)
    for axis in (0, 1):
        count = max(math.ceil((high - low)[axis] / room[axis] - 1e-9), 1)
        for k in range(1, count):
            near |= np.abs(grid[..., axis] - (low[axis] + (high - low)[axis] * k / count)) < away
    return near


def _block(face: FormerFace) -> tuple[FloatArray, IntArray]:
    """Return the body under a face down to z = 0."""
    bounding = np.concatenate(face.rings)
    below = np.full(len(face.points), -1, dtype=np.int64)
    below[bounding] = len(face.points) + np.arange(len(bounding))
    rim = rim_half_edges(face.faces)
    floor = face.points[bounding] * np.array([1.0, 1.0, 0.0])
    bottom = below[bounding[triangulated([face.points[ring, :2] for ring in face.rings])]][:, ::-1]
    faces = np.concatenate([face.faces, side_walls(rim, below[rim]), bottom])
    return np.round(np.concatenate([face.points, floor]), _DIGITS), faces


def _solids(pieces: Pieces, options: FormerOptions) -> tuple[Solid, ...]:
    many = len(pieces.bodies) > 1
    note = "Glue the blocks up on their dowels, face up on a flat board, before the joints are faired." if many else ""
    return tuple(
        Solid(f"block-{k}" if many else "block", *body, note=note) for k, body in enumerate(pieces.bodies, start=1)
    )


def _findings(
    region: Region, form: _Set, options: FormerOptions, face: FormerFace, pieces: Pieces, unvented: int,
    notes: Sequence[Finding],
) -> tuple[Finding, ...]:  # fmt: skip
    found: list[Finding] = []
    for code, marked, what, remedy in (
        ("T160", form.back, "leans back under the way it comes off, and is filled up to it",
         "Take another direction, or make the former in parts that come out one after the other."),
        ("T161", form.steep, f"has less draft than {options.draft_deg:g} degrees", "Expect it to hold fast there."),
    ):  # fmt: skip
        if marked.any():
            area = float(form.area[marked].sum())
            share = 100.0 * area / float(form.area.sum())
            ids = tuple(dict.fromkeys(region.face_parent[marked].tolist()))
            at = shape_place(form, marked)
            found.append(Finding(
                code, Severity.WARNING if share >= 0.5 else Severity.NOTE,
                f"{area:.0f} mm2 ({share:.1f} % of the piece) {what}.", remedy, len(ids), ids, at_mm=at,
            ))  # fmt: skip
    found += [Finding("T162", n.severity, n.text, n.remedy, n.count, n.faces) for n in notes]
    if len(pieces.bodies) > 1:
        nx, ny, nz = pieces.counts
        found.append(Finding(
            "T163", Severity.NOTE, f"it is larger than the travel of the {options.machine}: split {nx} by {ny} by {nz} "
            f"into {len(pieces.bodies)} blocks.", "Dress the joints before the leather goes on.", len(pieces.bodies),
        ))  # fmt: skip
    bare = [joint for joint in pieces.joints if len(joint.pins_mm) < 2]
    if bare and options.dowel_mm > 0.0:
        places = ", ".join(f"{joint.axis} = {joint.at_mm:.0f}" for joint in bare)
        found.append(Finding(
            "T164", Severity.WARNING, f"no room for two dowels in the joint at {places} mm.",
            "Take thinner or shorter dowels or a thicker base, or line the blocks up on a board.", len(bare),
        ))  # fmt: skip
    if face.opening_mm2 > 1.0:
        found.append(Finding(
            "T165", Severity.NOTE, f"openings of {face.opening_mm2:.0f} mm2 in the piece are closed on the block.",
            "Cut the leather's openings after it has dried.",
        ))  # fmt: skip
    if unvented:
        found.append(Finding(
            "T166", Severity.NOTE, f"{unvented} further hollows of {options.hollow_mm:g} mm or more have no vent: "
            "too near to the edge or to a joint, or more than were asked for.",
            "Drill them by hand where the leather will not lie down.", unvented,
        ))  # fmt: skip
    if region.conjectured_share > 0.001:
        found.append(Finding(
            "T167", Severity.NOTE, f"{100 * region.conjectured_share:.1f} % of the face is conjecture, not measured.",
            "Compare the block with the original there.",
        ))  # fmt: skip
    return tuple(found)


def shape_place(form: _Set, marked: BoolArray) -> tuple[float, float, float]:
    """Return the middle of the largest marked face, in the axes of the scan [mm]."""
    worst = int(np.argmax(np.where(marked, form.area, -1.0)))
    x, y, z = (form.vertices[form.faces[worst]].mean(axis=0)) @ form.axes + form.origin
    return float(x), float(y), float(z)


def _record(
    form: _Set, options: FormerOptions, face: FormerFace, pieces: Pieces, vents: tuple[Vent, ...],
    land: float, base: float, pitch: float,
) -> dict[str, Any]:  # fmt: skip
    total = float(form.area.sum())
    return {
        "work": options.work,
        "offset_mm": options.offset_mm,
        "direction": np.round(form.axes[2], 6).tolist(),
        "frame": {"origin_mm": np.round(form.origin, 5).tolist(), "axes": np.round(form.axes, 9).tolist()},
        "undercut_share": float(form.area[form.back].sum()) / total,
        "undercut_mm2": float(form.area[form.back].sum()),
        "land_mm": land,
        "base_mm": base,
        "pitch_mm": pitch,
        "size_mm": [float(v) for v in (*np.ptp(face.outline, axis=0), face.points[:, 2].max())],
        "blocks": len(pieces.bodies),
        "blocks_along": list(pieces.counts),
        "joints": [
            {"axis": j.axis, "at_mm": j.at_mm, "dowels_mm": [list(p) for p in j.pins_mm]} for j in pieces.joints
        ],
        "vents": [{"x_mm": v.x_mm, "y_mm": v.y_mm, "z_mm": v.z_mm, "hollow_mm": v.hollow_mm} for v in vents],
    }


def _sheet(
    form: _Set, options: FormerOptions, face: FormerFace, pieces: Pieces, vents: tuple[Vent, ...], land: float,
    rows: Any,
) -> tuple[Figure, ...]:  # fmt: skip
    x, y = np.ptp(face.outline, axis=0)
    way = ", ".join(f"{value:.3f}" for value in form.axes[2])
    lines = [
        Figure("block", f"{x:.1f} x {y:.1f} x {face.points[:, 2].max():.1f} mm"),
        Figure("face", f"{abs(options.offset_mm):.2f} mm {'inside' if options.offset_mm < 0 else 'outside'} the scan",
               f"{options.thickness_mm:g} mm of material, scan on its {options.side} face, and {options.padding_mm:g} "
               "mm of lining and padding: true offset"),
        Figure("comes off along", way, "axes of the scan; " + ("given" if options.direction else "least undercut")),
        Figure("undercut", f"{float(form.area[form.back].sum()):.0f} mm2", "filled, so that the piece comes off"),
        Figure("land", f"{land:g} mm", _how(rows.get("tack_land"), options.land_mm)),
        Figure("blocks", str(len(pieces.bodies)), f"for the travel: {options.machine}" if options.machine else ""),
        Figure("vents", str(len(vents)), "deepest hollows under a taut skin" if vents else "no hollow deep enough"),
    ]  # fmt: skip
    for key, label in (("soak", "soak"), ("drying", "dry at"), ("stretch_safe", "stretch that leather takes")):
        if key in rows:
            fact = rows[key]
            value = " to ".join(f"{number:g}" for number in dict.fromkeys(fact.span))
            lines.append(Figure(label, f"{value} {fact.unit}", _how(fact, None)))
    lines.append(Figure("leather", "vegetable-tanned or rawhide only", "other leather does not keep the form"))
    return tuple(lines)


def _how(fact: Fact | None, given: float | None) -> str:
    if given is not None or fact is None:
        return "given"
    return f"{fact.mark}: {fact.source}" + (f"; {fact.note}" if fact.note else "")
