"""Setting out the drawing: which curve goes on which layer, in which order, and what the file says about itself.

Terms: a *net* contour has the true size of the piece; the *kerf* is the width of the cut, which half falls outside a
net contour and has to be allowed for by the shop, unless it is already in the contour.

Convention: marks first, then inner contours, then outer ones (the order of `Layer`), because a piece that is cut free
moves; within a layer region by region of the sheet (`order`). Parts that lie in holes of others come before all other
contours, for they fall with the slug. A sheet's corner is the origin, its length along x.
Nothing but contours, marks and zones is drawn: shops dislike notes mixed in, so what there is to say travels as
comments and properties. Whoever wants a written note passes its strokes; they go on the layer NOTE.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from meshflow.drawing.layers import cut_rank
from meshflow.drawing.order import cut_order, depths_in_holes
from meshflow.errors import NestError, OptionError
from meshflow.geometry.curves import bounds, reversed_curve, transformed
from meshflow.geometry.parted import with_gaps
from meshflow.geometry.pieces import project
from meshflow.geometry.transforms import motion_of
from meshflow.model.curve import Circle, Curve, Dot, Motion, Polycurve
from meshflow.model.drawing import LAYERS, NEVER_CUT, Drawing, Layer, Stroke, grade_layer
from meshflow.model.layout import Placement, SheetLayout
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.model.surface import evidence_words

__all__ = ["compose_part", "compose_sheet"]


def compose_part(part: Part, *, copies: int | None = None, job_hash: str = "", notes: Sequence[Curve] = ()) -> Drawing:
    """Return the drawing of one part, in the part's own coordinates.

    Parameters
    ----------
    part : Part
        The part.
    copies : int, optional
        How many to cut, said in the file; the part's own quantity when left out. One is drawn.
    job_hash : str
        Hash of the job it belongs to.
    notes : sequence of Curve
        Strokes of a written note, for the layer NOTE [mm].

    Returns
    -------
    Drawing
        Strokes by layer.

    Raises
    ------
    OptionError
        If fewer than one copy is asked for.

    Examples
    --------
    >>> washer = Part("washer", Circle((5.0, 5.0), 5.0), holes=(Circle((5.0, 5.0), 2.0),))
    >>> [str(stroke.layer) for stroke in compose_part(washer).strokes]
    ['CUT_INSIDE', 'CUT_OUTSIDE']
    """
    copies = part.quantity if copies is None else copies
    if copies < 1:
        raise OptionError(f"{copies} copies of {part.name} cannot be cut.", remedy="Ask for one or more.")
    strokes = _in_file_order([*_strokes_of(part), *(Stroke(Layer.NOTE, curve) for curve in notes)])
    properties = {
        "name": part.name,
        "units": "mm",
        **_kerf_properties([part]),
        **_gap_properties([part]),
        **_material_properties([part]),
        **_evidence_properties([part]),
        "contour_tolerance_mm": f"{part.contour_tolerance_mm:g}",
        "copies": str(copies),
        **({"face_up": part.pattern.region.face_up} if part.pattern is not None else {}),
        **_layer_properties(part),
        **({} if part.grain_deg is None else {"grain_deg": f"{part.grain_deg:g}"}),
        **({"allowance_mm": f"{part.allowance_mm:.6g}"} if part.allowance_mm else {}),
        **({"job_hash": job_hash} if job_hash else {}),
    }
    title = f"Part {part.name}; cut {copies}."
    return _drawing(part.name, title, strokes, [part], properties)


def compose_sheet(
    layout: SheetLayout,
    parts: Sequence[Part],
    *,
    name: str | None = None,
    job_hash: str = "",
    notes: Sequence[Curve] = (),
) -> Drawing:
    """Return the drawing of one nested sheet.

    Parameters
    ----------
    layout : SheetLayout
        The sheet and where the parts lie.
    parts : sequence of Part
        All parts that the layout names.
    name : str, optional
        Title; ``sheet-`` and the sheet's id when left out.
    job_hash : str
        Hash of the job it belongs to.
    notes : sequence of Curve
        Strokes of a written note, for the layer NOTE; best beside the sheet [mm].

    Returns
    -------
    Drawing
        Marks, inner contours, outer contours, then the sheet's edge.

    Raises
    ------
    NestError
        If the layout places a part that is not given, or two parts have one name.
    """
    known = _by_name(parts)
    sheet = layout.sheet
    placed = sorted(layout.placements, key=lambda placement: (placement.part, placement.copy))
    strokes: list[Stroke] = []
    ordered = _in_cut_order(placed, known)
    depths = _depths(ordered, known)
    for placement, depth in zip(ordered, depths, strict=True):
        if placement.part not in known:
            raise NestError(
                f"the layout places the part {placement.part!r}, which is not among the parts given.",
                where=sheet.id,
                remedy="Give every part that was nested.",
            )
        strokes += _strokes_of(known[placement.part], placement, depth)
    strokes += [*_edge_of(sheet), *(Stroke(Layer.NOTE, curve) for curve in notes)]
    used = [known[part] for part in dict.fromkeys(placement.part for placement in placed)]
    properties = {
        "name": name or f"sheet-{sheet.id}",
        "units": "mm",
        **_kerf_properties(used),
        **_gap_properties(used),
        **_material_properties(used),
        **_evidence_properties(used),
        "sheet": sheet.id,
        "sheet_mm": f"{sheet.length_mm:g}x{sheet.width_mm:g}",
        "pieces": str(len(placed)),
        **({"job_hash": job_hash} if job_hash else {}),
    }
    title = f"Sheet {sheet.id}, {sheet.length_mm:g} x {sheet.width_mm:g} mm, with {len(placed)} pieces."
    inner = sum(depth > 0 for depth in depths)
    return _drawing(properties["name"], title, _in_file_order(strokes), used, properties, in_holes=inner)


def _edge_of(sheet: Sheet) -> list[Stroke]:
    """Return the sheet's edge and its flaws, to lay the drawing on the stuff by; zones of a grade are none."""
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]) * (sheet.length_mm, sheet.width_mm)
    edge = Polycurve(corners) if sheet.outline is None else sheet.outline
    flaws = [flaw.outline for flaw in sheet.flaws if not flaw.grade]
    return [Stroke(Layer.SHEET_EDGE, curve) for curve in (edge, *flaws)]


def _in_cut_order(placed: Sequence[Placement], known: dict[str, Part]) -> list[Placement]:
    """Return placements region by region; those of unknown parts first, so that they are refused."""
    strange = [placement for placement in placed if placement.part not in known]
    sound = [placement for placement in placed if placement.part in known]
    boxes = [bounds(transformed(known[placement.part].outline, motion_of(placement))) for placement in sound]
    return [*strange, *(sound[index] for index in cut_order(boxes))]


def _by_name(parts: Sequence[Part]) -> dict[str, Part]:
    known = {part.name: part for part in parts}
    if len(known) < len(parts):
        names = [part.name for part in parts]
        twice = next(name for name in names if names.count(name) > 1)
        raise NestError(f"two parts are called {twice!r}.", remedy="Give each part a name of its own.")
    return known


def _strokes_of(part: Part, placement: Placement | None = None, depth: int = 0) -> list[Stroke]:
    curves: list[tuple[Layer, Curve]] = [(mark.layer, mark.curve) for mark in part.marks]
    curves += [(Layer.CUT_INSIDE, hole) for hole in part.holes]
    curves += [(Layer.CUT_OUTSIDE, curve) for curve in _outline_of(part)]
    curves += [(grade_layer(zone.least_grade), zone.outline) for zone in part.zones]
    if placement is None:
        return [Stroke(layer, curve) for layer, curve in curves]
    motion = motion_of(placement)
    return [Stroke(layer, _placed(curve, motion), depth) for layer, curve in curves]


def _outline_of(part: Part) -> list[Polycurve | Circle]:
    """Return the outline, whole, or as the runs between the gaps that are asked for at its tab points."""
    dots = [mark.curve.position for mark in part.marks if mark.layer is Layer.TAB_POINT and isinstance(mark.curve, Dot)]
    if not part.tab_gap_mm or not dots:
        return [part.outline]
    along, _ = project(part.outline, dots)
    return [*with_gaps(part.outline, along.tolist(), part.tab_gap_mm)]


def _placed(curve: Curve, motion: Motion) -> Curve:
    if isinstance(curve, Dot):
        return transformed(curve, motion)
    if isinstance(curve, Circle):
        return transformed(curve, motion)
    moved = transformed(curve, motion)
    # A mirror image runs the other way; walked backwards, outlines stay counter-clockwise and holes clockwise.
    return reversed_curve(moved) if motion.mirrored and curve.closed else moved


def _depths(placed: Sequence[Placement], known: dict[str, Part]) -> list[int]:
    """Return for each placement in how many holes of others it lies."""
    laid = []
    for placement in placed:
        if placement.part not in known:
            return [0] * len(placed)
        part, motion = known[placement.part], motion_of(placement)
        laid.append((transformed(part.outline, motion), tuple(transformed(hole, motion) for hole in part.holes)))
    return depths_in_holes(laid)


def _in_file_order(strokes: Iterable[Stroke]) -> tuple[Stroke, ...]:
    return tuple(sorted(strokes, key=cut_rank))


def _drawing(
    name: str,
    title: str,
    strokes: tuple[Stroke, ...],
    parts: Sequence[Part],
    properties: dict[str, str],
    *,
    in_holes: int = 0,
) -> Drawing:
    drawn = {stroke.layer for stroke in strokes}
    used = [layer for layer in LAYERS if layer in drawn]
    never = [layer for layer in used if layer in NEVER_CUT]
    comments = [
        "meshflow drawing file",
        title,
        "Units: millimetres, true size.",
        *_kerf_sentences(parts),
        *_blank_sentences(parts),
        *_gap_sentences(parts),
        *([f"Material: {_material_text(properties)}."] if _material_text(properties) else []),
        *_evidence_sentences(parts),
        *_layer_sentences(properties),
        f"Layers in order: {', '.join(used)}.",
        *_in_hole_sentences(in_holes),
        *([f"Never cut: {', '.join(never)}."] if never else []),
        *([f"Job: {properties['job_hash']}"] if "job_hash" in properties else []),
    ]
    extents = bounds(*(stroke.curve for stroke in strokes)) if strokes else (0.0, 0.0, 0.0, 0.0)
    return Drawing(name, strokes, extents, tuple(comments), properties)


def _layer_properties(part: Part) -> dict[str, str]:
    """Return where the layer lies, for one that does not lie on the scanned surface itself."""
    region = part.pattern.region if part.pattern is not None else None
    if region is None or region.layer_offset_mm == 0.0:
        return {}
    return {"layer_offset_mm": f"{region.layer_offset_mm:g}", "side": region.side}


def _layer_sentences(properties: dict[str, str]) -> list[str]:
    if "layer_offset_mm" not in properties:
        return []
    face = {"outer": "outer face", "middle": "middle", "inner": "inner face"}[properties["side"]]
    return [f"Layer: its {face} lies {properties['layer_offset_mm']} mm outward of the scanned surface."]


def _kerf_properties(parts: Sequence[Part]) -> dict[str, str]:
    """Return the kerf in the contours and, where the maker said it, the width of the cut; "mixed" if parts differ."""
    inside = dict.fromkeys(f"{part.kerf_compensated_mm:g}" for part in parts)
    cuts = dict.fromkeys(f"{part.kerf_mm:g}" for part in parts if part.kerf_mm)
    state = "net" if all(part.kerf_compensated_mm == 0.0 for part in parts) else "compensated"
    return {
        "kerf": state if len(inside) < 2 else "mixed",
        "kerf_compensated_mm": "mixed" if len(inside) > 1 else next(iter(inside), "0"),
        **({"kerf_mm": next(iter(cuts)) if len(cuts) == 1 else "mixed"} if cuts else {}),
    }


def _kerf_sentences(parts: Sequence[Part]) -> list[str]:
    states: dict[tuple[float, float], list[str]] = {}
    for part in parts:
        states.setdefault((part.kerf_compensated_mm, part.kerf_mm), []).append(part.name)
    sentences = []
    for (inside, cut), names in states.items():
        whose = f" of {', '.join(names)}" if len(states) > 1 else ""
        width = f" of about {cut:g} mm" if cut else ""
        if inside:
            sentences.append(f"Kerf: {inside:g} mm already in the contours{whose}; do not allow for it again.")
        else:
            sentences.append(f"Kerf: none in the contours{whose} (net size); the shop allows for its cut{width}.")
    return sentences


def _blank_sentences(parts: Sequence[Part]) -> list[str]:
    """Return what is to be trimmed off after forming."""
    sentences = []
    for part in parts:
        if part.allowance_mm:
            of = f" of {part.name}" if len(parts) > 1 else ""
            seams = part.pattern.seams if part.pattern is not None else ()
            where = "along its free edges (seams are net)" if seams else "all round"
            far = f"{part.allowance_mm:.3g} mm outside the net line"
            sentences.append(f"Blank{of}: {far} {where}, trim after forming.")
        if part.allowances:
            of = f" of {part.name}" if len(parts) > 1 else ""
            rows = "; ".join(f"{row.kind} {row.width_mm:g} mm along {row.along}" for row in part.allowances)
            sentences.append(f"Allowances{of}: {rows}. The net line is a mark.")
    return sentences


def _gap_sentences(parts: Sequence[Part]) -> list[str]:
    """Return which outlines are open on purpose."""
    held = [part for part in parts if part.tab_gap_mm]
    widths = ", ".join(dict.fromkeys(f"{part.tab_gap_mm:g}" for part in held))
    names = ", ".join(part.name for part in held)
    return [f"Open on purpose: gaps of {widths} mm for holding tabs in the outline of {names}."] if held else []


def _in_hole_sentences(count: int) -> list[str]:
    """Return what to mind where parts lie in holes of others."""
    if not count:
        return []
    lie = (
        "1 piece lies in a hole of another and comes"
        if count == 1
        else f"{count} pieces lie in holes of others and come"
    )
    return [f"{lie} first among the cuts: cut in the order of this file, not layer by layer."]


def _gap_properties(parts: Sequence[Part]) -> dict[str, str]:
    widest = max((part.tab_gap_mm for part in parts), default=0.0)
    return {"tab_gap_mm": f"{widest:g}"} if widest else {}


def _material_properties(parts: Sequence[Part]) -> dict[str, str]:
    materials = dict.fromkeys(part.material for part in parts if part.material)
    thicknesses = dict.fromkeys(f"{part.thickness_mm:g}" for part in parts if part.thickness_mm)
    processes = dict.fromkeys(part.process for part in parts if part.process)
    columns = {"material": materials, "thickness_mm": thicknesses, "process": processes}
    return {key: ", ".join(values) for key, values in columns.items() if values}


def _evidence_properties(parts: Sequence[Part]) -> dict[str, str]:
    """Return the shares that were not measured; of several parts the largest, so that one guess is not lost in many."""
    shares = {
        "conjectured_share": max((part.conjectured_share for part in parts), default=0.0),
        "mirrored_share": max((part.mirrored_share for part in parts), default=0.0),
    }
    return {key: f"{share:.6g}" for key, share in shares.items() if share > 0.0}


def _evidence_sentences(parts: Sequence[Part]) -> list[str]:
    said = [(part.name, evidence_words(part.conjectured_share, part.mirrored_share)) for part in parts]
    return [f"Part {name}: {words}" for name, words in said if words]


def _material_text(properties: dict[str, str]) -> str:
    words = [properties[key] for key in ("material",) if key in properties]
    if "thickness_mm" in properties:
        words.append(f"{properties['thickness_mm']} mm thick")
    if "process" in properties:
        words.append(f"for {properties['process']}")
    return ", ".join(words)
