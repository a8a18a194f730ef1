"""Moving a layer to the middle of its thickness, where bending neither stretches nor shortens.

Terms: a *layer* is one sheet of what lies on (or under) the scanned surface: lining, padding, cover; its *face* is the
one that `side` names, and its *offset* how far along the outward normal that face lies from the scan. The pattern is
laid out on the layer's middle: minus half the thickness from its outer face, plus half from its inner one. A place is
*tight* where the piece is hollower than the way to go, so that the sheet would fold over itself.

Convention: the outer face is the one the faces are counter-clockwise on. The two sides of a seam move as one.

Method: every vertex goes where its faces, all moved by the distance, meet (`geometry.offsets`); a tight place is
bridged, as the sheet will do (`geometry.offset_sheet`), and R110 says where. Nobody knows just how the material lies
there, so the widths of the pattern are uncertain by as much as the tight place is wide. While little of the piece would
have turned over, that is warned of; over a twentieth of the area it must not be cut, because whole widths may then be
wrong by more than a cold steel panel or firm leather can be worked right.

What is reproduced: the scanned polyhedron's own offset. A sharp right angle scanned on the outside and 4 mm thick comes
out t = 4 mm shorter across (each leg by t / 2 times tan 45 degrees); a bend scanned as a round one comes out
pi / 2 * t / 2 = 3.14 mm shorter, the neutral arc of the trade. A wall of radius R scanned inside is phi (R + t / 2)
wide, short of it only by what its facets are short of the circle.

Findings: R110 tight places; R111 very sharp corners cut short; R112 the layer lies off the scan.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.offset_sheet import MovingSheet
from meshflow.geometry.offsets import LONGEST_MITRE
from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.region import Region
from meshflow.regions.words import counted

__all__ = ["MOST_TURNED", "neutral_surface"]

MOST_TURNED = (
    0.05  # of the area; a cold steel panel or the bend of a hide can be worked by so much and no more (stock tables)
)
FARTHEST_MM = 10_000.0  # beyond any layer; it catches metres written as millimetres


def neutral_surface(region: Region, *, offset_mm: float | None = None) -> Region:
    """Move a region to the middle of its layer.

    Parameters
    ----------
    region : Region
        With `thickness` and `side`. Scan noise should be smoothed away first: normals are taken from its faces.
    offset_mm : float, optional
        How far the layer's face that `side` names lies from the scanned surface, outward where positive [mm]; that of
        the region, at first 0, when left out.

    Returns
    -------
    Region
        Moved, with `offset_mm` and `layer_offset_mm` set and R110, R111, R112 added to its notes; the same region when
        nothing is to move (so a second call changes nothing). Where R110 refuses, it must not be cut.

    Raises
    ------
    OptionError
        If the offset is no finite length.

    Examples
    --------
    >>> import numpy as np
    >>> from meshflow.model.surface import Surface
    >>> from meshflow.regions import select
    >>> panel = Surface(np.array([[0.0, 0, 0], [9, 0, 0], [0, 9, 0]]), np.array([[0, 1, 2]]))
    >>> neutral_surface(select(panel, thickness=3.0, side="outer")).vertices[:, 2].tolist()
    [-1.5, -1.5, -1.5]
    >>> neutral_surface(select(panel, thickness=3.0, side="inner"), offset_mm=6.0).vertices[:, 2].tolist()
    [7.5, 7.5, 7.5]
    """
    layer = region.layer_offset_mm if offset_mm is None else float(offset_mm)
    if not (math.isfinite(layer) and abs(layer) <= FARTHEST_MM):
        raise OptionError(
            f"an offset of {layer:g} mm is no place for a layer.",
            where=region.name,
            remedy="Give millimetres from the scanned surface; a minus goes inward.",
        )
    share = {"outer": -0.5, "middle": 0.0, "inner": 0.5}[region.side]
    move = layer + share * region.thickness - region.offset_mm
    named = _off_the_scan(region, layer) if layer != region.layer_offset_mm else ()
    if move == 0.0:
        return replace(region, layer_offset_mm=layer, notes=region.notes + named) if named else region
    # The sides of a seam are sewn together while the normals are taken.
    sewn = np.arange(len(region.vertices))
    sewn[region.seam_pairs[:, 1]] = region.seam_pairs[:, 0]  # type: ignore[index]
    sheet = MovingSheet(region.vertices, sewn[region.faces], move)
    vertices = sheet.moved()
    notes = region.notes + named + _tight(region, sheet, vertices) + _cut_short(region, sheet.cut_short[sewn])
    return replace(
        region, vertices=vertices[sewn], offset_mm=region.offset_mm + move, layer_offset_mm=layer, notes=notes
    )


def _off_the_scan(region: Region, layer: float) -> tuple[Finding, ...]:
    if layer == 0.0:
        return ()
    where = "outside" if layer > 0 else "inside"
    face = {"outer": "outer face", "middle": "middle", "inner": "inner face"}[region.side]
    text = f"this layer's {face} lies {abs(layer):g} mm {where} the scanned surface."
    return (Finding("R112", Severity.NOTE, text, where=region.name),)


def _tight(region: Region, sheet: MovingSheet, vertices: FloatArray) -> tuple[Finding, ...]:
    if not sheet.tight.any():
        return ()
    area = face_areas(region.vertices, region.faces)
    part = float(area[sheet.turned].sum() / area.sum())
    held = sheet.tight[sheet.faces].any(axis=1)
    named = np.flatnonzero(sheet.turned if sheet.turned.any() else held)
    way = "inward" if sheet.distance_mm < 0 else "outward"
    text = (
        f"there is no room for {abs(sheet.distance_mm):g} mm {way} to the middle of the layer at "
        f"{counted(len(named), 'face')}"
    )
    if sheet.turned.any():
        text += f", {_percent(part)} of the area: the hollow there is tighter than that and would fold over itself"
    else:
        text += ": walls that face each other are nearer than that"
    text += f". The layer bridges it, {sheet.clearance(vertices[sheet.tight]):.3g} mm from the scan at the nearest."
    severity, remedy = Severity.WARNING, "The pattern is not to be trusted there. "
    if part > MOST_TURNED:
        severity, remedy = Severity.REFUSE, f"Over {_percent(MOST_TURNED)} of the piece there is no pattern to cut. "
    remedy += "Take a thinner material or a smaller offset, smooth more, or say which face was scanned."
    parents = tuple(np.unique(region.face_parent[named]).tolist())
    return (Finding("R110", severity, text, remedy, count=len(named), faces=parents, where=region.name),)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %" if share >= 0.1 else f"{100.0 * share:.2g} %"


def _cut_short(region: Region, cut: BoolArray) -> tuple[Finding, ...]:
    corners = np.flatnonzero(cut)
    if len(corners) == 0:
        return ()
    text = (
        f"at {counted(len(corners), 'very sharp corner')} the neutral surface is cut short at {LONGEST_MITRE:g} times "
        "the offset."
    )
    parents = tuple(np.unique(region.vertex_parent[corners]).tolist())
    return (Finding("R111", Severity.NOTE, text, count=len(corners), faces=parents, where=region.name),)
