"""A pattern for casting: the piece as it must be printed, carved or moulded so that the metal comes out right.

Terms: the *wall* is the distance between outer face and underside; *allowance* is what polishing and machining take off
afterwards; a *sprue* is the channel through which the metal runs in, sawn off later; a *post* is cast on the underside
to hold the piece.

Convention: the pattern stands as it is printed, z up, outer face up, scaled for shrinkage. `frame` in the record turns
scan into pattern: ``pattern = scale * (scan - origin) @ axes.T``. Places of findings are in the axes of the scan.

Findings: T180 thin wall; T181 offset bridged or crossing; T182 the two ways of reckoning shrinkage differ; T183 split;
T184 no room for keys; T185 no density for the mass; T187 conjecture.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.solid import volume
from meshflow.geometry.solid_cut import plane_axes
from meshflow.geometry.triangles import face_vectors
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.stock import Fact
from meshflow.model.tool import Figure, Solid, Tool
from meshflow.stock import Stock, load_stock
from meshflow.tooling.cast_drawings import cast_drawings
from meshflow.tooling.cast_options import CastOptions, steps_of
from meshflow.tooling.cautions import caution_for
from meshflow.tooling.shell import Shell, shell_of
from meshflow.tooling.shrink import Step, drawn_hole, pattern_scale
from meshflow.tooling.split import Pieces, Pins, split_body, travel_of
from meshflow.tooling.walls import ThinPlace, thin_places, wall_at

__all__ = ["CastSheets", "cast_tool"]

_DIGITS = 5
_M3 = 1e-9  # mm3 to m3


@dataclass(frozen=True, eq=False)
class CastSheets:
    """The two faces of a casting, at the size of the finished piece.

    Parameters
    ----------
    upper, lower : (n, 3) float array
        Outer face and underside as cast, allowances included [mm].
    faces : (m, 3) int array
        Faces of both; upper normals point out.
    off_upper, off_lower : (n,) float array
        What polishing and machining take off at each vertex [mm].
    face_parent : (m,) int array, optional
        Face of the scan that each lies in.
    notes : tuple of Finding
        What moving the faces had to say.
    conjectured_share : float
        Share of the area that was not measured.
    """

    upper: FloatArray
    lower: FloatArray
    faces: IntArray
    off_upper: FloatArray
    off_lower: FloatArray
    face_parent: IntArray | None = None
    notes: tuple[Finding, ...] = ()
    conjectured_share: float = 0.0


@dataclass(frozen=True, eq=False)
class _Made:
    """Everything worked out, for record, sheet and findings."""

    axes: FloatArray
    origin: FloatArray
    scale: float
    steps: tuple[Step, ...]
    cast_mm3: float
    wall: FloatArray
    least: float
    thin: tuple[ThinPlace, ...]
    pieces: Pieces
    room: tuple[float, float, float]
    posts: FloatArray
    holes: FloatArray
    drawn_hole_mm: float


def cast_tool(
    sheets: CastSheets,
    options: CastOptions,
    *,
    stock: Stock | None = None,
    name: str = "pattern",
    progress: Callable[[str, float], None] | None = None,
) -> Tool:
    """Make a cast pattern.

    Parameters
    ----------
    sheets : CastSheets
        Outer face and underside.
    options : CastOptions
        What is asked.
    stock : Stock, optional
        Metals, processes, machines; our own tables when left out.
    name : str
        Name of the tool.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Tool
        Solids ``pattern`` or ``pattern-1`` and so on; drawings ``plan`` and ``sections``.

    Raises
    ------
    OptionError
        If an option makes no sense for this piece, or the stock lacks a figure for it.
    """
    stock = load_stock() if stock is None else stock
    report = progress or (lambda what, share: None)
    steps = steps_of(options, stock)
    scale = pattern_scale(steps, convention=options.convention)
    report("finding the least wall", 0.1)
    wall = wall_at(sheets.upper, sheets.lower, sheets.faces)
    least = _least_wall(options, stock)
    thin = thin_places(sheets.upper, wall, below=least - 1e-6, apart=max(5.0, 0.05 * _across(sheets.upper)))
    report("making the shell", 0.4)
    shell, posts, holes, drawn = _shell(sheets, options)
    cast_mm3 = volume(shell.vertices, shell.faces)
    if cast_mm3 <= 0.0:
        raise OptionError("the underside lies outside the outer face.", remedy="Check the offsets.")
    axes = _standing(sheets)
    flat = shell.vertices @ axes.T
    low = flat.min(axis=0)
    body = np.round(scale * (flat - low), _DIGITS)
    report("splitting", 0.6)
    room = _room(options, stock)
    pieces = split_body(body, shell.faces, room, _keys(options, stock))
    made = _Made(axes, low @ axes, scale, steps, cast_mm3, wall, least, thin, pieces, room, posts, holes, drawn)
    many = len(pieces.bodies) > 1
    note = f"{scale:.5f} times the size of the finished piece."
    solids = tuple(
        Solid(f"pattern-{k}" if many else "pattern", *piece, note=note)
        for k, piece in enumerate(pieces.bodies, start=1)
    )
    drawings = cast_drawings(
        scale * (sheets.upper @ axes.T - low), sheets.faces, (body, shell.faces),
        [(scale * (np.array(place.at_mm) @ axes.T - low), place.wall_mm) for place in thin],
        scale * (posts @ axes.T - low), scale * (holes @ axes.T - low),
        post_mm=scale * options.post_mm, hole_mm=scale * drawn,
        joints=pieces.joints,
    )  # fmt: skip
    works: list[Any] = ["casting", *(["burn-out"] if options.pattern != "sand" else []), "printing", "polishing"]
    works += ["plating"] if options.plating_mm > 0.0 else []
    return Tool(
        name, "cast", solids, drawings, _record(made, options, stock), _sheet(made, options, stock),
        _findings(made, sheets, options, stock), caution_for(*works, stock=stock),
    )  # fmt: skip


def _across(points: FloatArray) -> float:
    return float(np.ptp(points, axis=0).max())


def _least_wall(options: CastOptions, stock: Stock) -> float:
    """Return the least wall; of a range that sources give, the safer end."""
    if options.wall_least_mm is not None:
        return options.wall_least_mm
    row = stock.process("casting").facts.get("wall_least")
    return 0.0 if row is None else row.span[1]


def _shell(sheets: CastSheets, options: CastOptions) -> tuple[Shell, FloatArray, FloatArray, float]:
    """Return the shell with its posts and holes, where they stand, and the diameter of the holes as cast."""
    shell = shell_of(sheets.upper, sheets.lower, sheets.faces)
    drawn = drawn_hole(options.hole_mm, polish_mm=options.polish_mm, plating_mm=options.plating_mm)
    posts = [
        shell.add_post(np.asarray(place), diameter=options.post_mm, length=options.post_length_mm)
        for place in options.posts
    ]
    holes = [shell.add_hole(np.asarray(place), diameter=drawn) for place in options.holes]
    return shell, np.array(posts).reshape(-1, 3), np.array(holes).reshape(-1, 3), drawn


def _standing(sheets: CastSheets) -> FloatArray:
    """Return the axes in which the outer face looks up."""
    mean = face_vectors(sheets.upper, sheets.faces).sum(axis=0)
    size = float(np.linalg.norm(mean))
    return plane_axes(mean if size > 1e-9 else np.array([0.0, 0.0, 1.0]))


def _room(options: CastOptions, stock: Stock) -> tuple[float, float, float]:
    """Return the room for one piece: the lesser of machine and flask along each axis [mm]."""
    room = travel_of(options.machine, stock)[1] if options.machine else (math.inf,) * 3
    flask = options.flask_mm or (math.inf,) * 3
    x, y, z = (min(a, b) for a, b in zip(room, flask, strict=True))
    return x, y, z


def _keys(options: CastOptions, stock: Stock) -> Pins:
    row = stock.process("casting").facts.get("key_clearance")
    gap = 0.15 if row is None else row.span[0]
    return Pins(diameter_mm=options.key_mm, depth_mm=options.key_depth_mm, clearance_mm=gap, keyed=True, wall_mm=1.0)


def _mass(made: _Made, options: CastOptions, stock: Stock) -> dict[str, Any]:
    """Return masses of metal and wax; empty where the stock has no density."""
    metal = stock.material(options.metal).facts.get("density")
    wax = stock.material("wax_jewellery").facts.get("density")
    share = stock.process("casting").facts.get("sprue_share")
    if metal is None:
        return {}
    kg = made.cast_mm3 * _M3 * metal.span[0]
    found: dict[str, Any] = {"part": kg}
    if share is not None:
        found["with_sprues"] = [kg * (1.0 + 0.01 * end) for end in share.span]
    if wax is not None:
        found["wax"] = made.cast_mm3 * made.scale**3 * _M3 * wax.span[0]
        found["metal_per_wax"] = metal.span[0] / wax.span[0]
    return found


def _record(made: _Made, options: CastOptions, stock: Stock) -> dict[str, Any]:
    return {
        "metal": options.metal,
        "pattern": options.pattern,
        "scale": made.scale,
        "convention": options.convention,
        "shrink": [{"step": step.name, "percent": 100.0 * step.shrink, "how": step.how} for step in made.steps],
        "mass_kg": _mass(made, options, stock),
        "volume_mm3": made.cast_mm3,
        "wall_min_mm": float(made.wall.min()),
        "wall_least_mm": made.least,
        "wall_places": [{"at_mm": list(place.at_mm), "wall_mm": place.wall_mm} for place in made.thin],
        "allowance_mm": {"outer": options.polish_mm, "under": options.machining_mm},
        "hole": {
            "finished_mm": options.hole_mm,
            "cast_mm": made.drawn_hole_mm,
            "pattern_mm": made.scale * made.drawn_hole_mm,
        },
        "posts_mm": made.posts.tolist(),
        "holes_mm": made.holes.tolist(),
        "frame": {"origin_mm": np.round(made.origin, 5).tolist(), "axes": np.round(made.axes, 9).tolist()},
        "pieces": len(made.pieces.bodies),
        "sizes_mm": [[float(v) for v in np.ptp(vertices, axis=0)] for vertices, _ in made.pieces.bodies],
        "joints": [
            {"axis": j.axis, "at_mm": j.at_mm, "keys_mm": [list(p) for p in j.pins_mm]} for j in made.pieces.joints
        ],
    }


def _sheet(made: _Made, options: CastOptions, stock: Stock) -> tuple[Figure, ...]:
    casting = stock.process("casting").facts
    rule = "product of 1 / (1 - s)" if options.convention == "inverse" else "product of 1 + s, as shrink rules are used"
    lines = [Figure("scale", f"{made.scale:.5f}", f"{rule} over the steps still to come (CALC)")]
    lines += [Figure(f"shrinkage, {step.name}", f"{100 * step.shrink:.2f} %", step.how) for step in made.steps]
    lines.append(
        Figure(
            "wall, least", f"{made.wall.min():.2f} mm", "as cast, allowances included; nearest distance of the faces"
        )
    )
    row = casting.get("wall_least")
    lines.append(
        Figure("wall that runs", f"{made.least:g} mm", "given" if options.wall_least_mm is not None else _how(row))
    )
    if "wall_sculpture" in casting and "bronze" in options.metal:
        lines.append(
            Figure("wall of sculpture", f"{casting['wall_sculpture'].span[0]:g} mm", _how(casting["wall_sculpture"]))
        )
    mass = _mass(made, options, stock)
    if mass:
        lines.append(
            Figure("metal in the piece", _grams(mass["part"]), _how(stock.material(options.metal).facts["density"]))
        )
    if "with_sprues" in mass:
        low, high = mass["with_sprues"]
        lines.append(Figure("metal to melt", f"{_grams(low)} to {_grams(high)}", _how(casting["sprue_share"])))
    if "wax" in mass:
        lines.append(Figure("wax", f"{_grams(mass['wax'])}, metal {mass['metal_per_wax']:.2f} times the wax",
                            _how(stock.material("wax_jewellery").facts["density"])))  # fmt: skip
    if options.holes or options.plating_mm > 0.0:
        lines.append(Figure("hole", f"{options.hole_mm:g} finished, {made.drawn_hole_mm:.3f} cast, "
                            f"{made.scale * made.drawn_hole_mm:.3f} mm on the pattern",
                            f"each side polish takes {options.polish_mm:g}, plating adds {options.plating_mm:g} mm"))  # fmt: skip  # noqa: E501
    for vertices, _ in made.pieces.bodies:
        x, y, z = np.ptp(vertices, axis=0)
        lines.append(Figure("pattern", f"{x:.1f} x {y:.1f} x {z:.1f} mm"))
    if "tolerance" in casting:
        lines.append(Figure("expect within", f"+/- {casting['tolerance'].span[0]:g} %", _how(casting["tolerance"])))
    return tuple(lines)


def _how(fact: Fact | None) -> str:
    return "" if fact is None else f"{fact.mark}: {fact.source}" + (f"; {fact.note}" if fact.note else "")


def _grams(kg: float) -> str:
    return f"{kg:.2f} kg" if kg >= 1.0 else f"{1000 * kg:.1f} g"


def _findings(made: _Made, sheets: CastSheets, options: CastOptions, stock: Stock) -> tuple[Finding, ...]:
    return (
        *_thin(made, sheets),
        *(Finding("T181", n.severity, n.text, n.remedy, n.count, n.faces) for n in sheets.notes),
        *_two_ways(made, options),
        *_split(made, options),
        *_unknown(made, sheets, options, stock),
    )


def _thin(made: _Made, sheets: CastSheets) -> list[Finding]:
    if not made.thin:
        return []
    worst = made.thin[0]
    marked = (made.wall < made.least - 1e-6)[sheets.faces].any(axis=1)
    ids = () if sheets.face_parent is None else tuple(dict.fromkeys(sheets.face_parent[marked].tolist()))
    text = (
        f"the wall is {worst.wall_mm:.2f} mm at the thinnest, under the {made.least:g} mm that runs; "
        f"{len(made.thin)} places."
    )
    remedy = "Make it thicker, or ask the foundry whether it runs so thin there: 0.5 mm may over a small place."
    return [Finding("T180", Severity.WARNING, text, remedy, len(made.thin), ids, at_mm=worst.at_mm)]


def _two_ways(made: _Made, options: CastOptions) -> list[Finding]:
    other = pattern_scale(made.steps, convention="table" if options.convention == "inverse" else "inverse")
    apart = abs(other - made.scale) / made.scale * max(float(np.ptp(v, axis=0).max()) for v, _ in made.pieces.bodies)
    if apart < 0.05:
        return []
    text = (
        f"the two ways of reckoning shrinkage, 1 / (1 - s) and 1 + s, differ by {apart:.2f} mm over the piece; "
        f"{'the larger pattern' if other < made.scale else 'the smaller pattern'} was made."
    )
    return [Finding("T182", Severity.NOTE, text, "Ask the foundry which way its figure was measured.")]


def _split(made: _Made, options: CastOptions) -> list[Finding]:
    found: list[Finding] = []
    if len(made.pieces.bodies) > 1:
        nx, ny, nz = made.pieces.counts
        text = f"it is larger than printer or flask: split {nx} by {ny} by {nz} into {len(made.pieces.bodies)} pieces."
        found.append(
            Finding("T183", Severity.NOTE, text, "Join the waxes, or braze the castings.", len(made.pieces.bodies))
        )
    bare = [joint for joint in made.pieces.joints if len(joint.pins_mm) < 2]
    if bare and options.key_mm > 0.0:
        text = (
            f"no room for two keys in {len(bare)} joint{'s' if len(bare) != 1 else ''}: the wall is too thin for them."
        )
        found.append(
            Finding("T184", Severity.WARNING, text, "Take thinner keys, or line the pieces up in a jig.", len(bare))
        )
    return found


def _unknown(made: _Made, sheets: CastSheets, options: CastOptions, stock: Stock) -> list[Finding]:
    found: list[Finding] = []
    if not _mass(made, options, stock):
        text = f'the stock has no density for "{options.metal}": no mass was worked out.'
        found.append(Finding("T185", Severity.WARNING, text, "Put it into the workshop's own stock file."))
    if sheets.conjectured_share > 0.001:
        text = f"{100 * sheets.conjectured_share:.1f} % of the face is conjecture, not measured."
        found.append(Finding("T187", Severity.NOTE, text, "Compare the pattern with the original there."))
    return found
