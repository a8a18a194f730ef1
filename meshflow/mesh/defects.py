"""Findings M110 to M119: what is wrong with the connectivity of a mesh."""

from __future__ import annotations

import numpy as np

from meshflow.mesh.anatomy import Anatomy
from meshflow.mesh.carry import vertices_used
from meshflow.mesh.tjunctions import TJunctions
from meshflow.mesh.winding import inside_out_shells
from meshflow.mesh.wording import counted, finding, in_mm
from meshflow.model.arrays import BoolArray, IntArray
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Surface

__all__ = ["copy_findings", "corner_findings", "edge_findings", "shell_findings", "winding_findings"]


def corner_findings(surface: Surface, welded: Surface, tolerance: float) -> list[Finding]:
    """Return M110 (corners that stand in one place) and M111 (vertices that no face uses)."""
    used = vertices_used(surface.faces, len(surface.vertices))
    before, after = int(used.sum()), len(welded.vertices)
    point = np.zeros(len(surface.vertices), dtype=np.int64)
    point[surface.faces] = welded.faces
    met = np.bincount(point[used], minlength=after)[welded.faces] > 1
    soup = before == 3 * len(surface.faces)
    text = f"{counted(before - after, 'corner')} on top of others: {before:,} corners are {after:,} points."
    if soup:
        text = f"Every triangle has its own corners (a triangle soup): {before:,} corners are {after:,} points."
    return finding(
        "M110",
        Severity.NOTE,
        before - after,
        text,
        remedy=f"Nothing to do: corners within {in_mm(tolerance)} are welded.",
        faces=None if soup else np.flatnonzero(met.any(axis=1)),
    ) + finding(
        "M111",
        Severity.NOTE,
        int((~used).sum()),
        f"{counted(int((~used).sum()), 'vertex', 'vertices')} that no face uses; they do not count for the size.",
        remedy="Nothing to do: they are left out.",
    )


def copy_findings(body: Anatomy) -> list[Finding]:
    """Return M112 (faces repeated) and M113 (faces that stand back to back)."""
    copies = body.copies
    repeated, pairs = int(copies.duplicate.sum()), int(copies.second_side.sum())
    sheet = pairs > len(body.ids) // 2
    text = f"{counted(pairs, 'place')} where two faces lie back to back: a double wall, or a flap folded over."
    remedy = "Look at these faces; keep one of the two walls before flattening across them."
    if sheet:
        text = f"A two-sided sheet: {counted(pairs, 'face')} stand twice, once for each side. It encloses nothing."
        remedy = (
            "Say which side was scanned and keep that one: export the mesh one-sided, or pick the faces of one side."
        )
    return finding(
        "M112",
        Severity.WARNING,
        repeated,
        f"{counted(repeated, 'face')} repeated exactly.",
        remedy="Mending drops the copies.",
        faces=np.flatnonzero(copies.duplicate),
    ) + finding("M113", Severity.WARNING, pairs, text, remedy=remedy, faces=np.flatnonzero(copies.doubled))


def edge_findings(body: Anatomy, seams: TJunctions) -> list[Finding]:
    """Return M114 (edges with over two faces) and M115 (points where fans only touch)."""
    branching = body.table.face_count > 2
    on_branch = branching[body.table.of_half_edge].reshape(-1, 3).any(axis=1)
    touching = body.fan_count > 1
    touching[body.table.vertices[branching].reshape(-1)] = False  # said by M114
    long_edge = body.faces[seams.half_edge // 3]
    touching[long_edge[np.arange(len(long_edge)), seams.half_edge % 3]] = False  # said by M204
    touching[long_edge[np.arange(len(long_edge)), (seams.half_edge + 1) % 3]] = False
    return finding(
        "M114",
        Severity.WARNING,
        int(branching.sum()),
        f"{counted(int(branching.sum()), 'edge')} where more than two faces meet: the surface branches there.",
        remedy="Pick a region that keeps clear of them, or take one of the sheets away.",
        faces=body.ids[on_branch],
    ) + finding(
        "M115",
        Severity.WARNING,
        int(touching.sum()),
        f"{counted(int(touching.sum()), 'point')} where pieces of the surface only touch.",
        remedy="Pick a region that does not hang together by such a point.",
        faces=body.ids[touching[body.faces].any(axis=1)],
    )


def winding_findings(body: Anatomy, island: BoolArray) -> list[Finding]:
    """Return M116 (faces wound against their neighbours) and M117 (closed shells inside out, islands left out)."""
    turned, one_sided = int(body.turned.sum()), int(body.one_sided.sum())
    inward = inside_out_shells(body.vertices, body.faces, body.shell, body.closed_shells(), ~island)
    return (
        finding(
            "M116",
            Severity.WARNING,
            turned,
            f"{counted(turned, 'face')} wound against their neighbours: inside and outside are mixed up.",
            remedy="Mending turns them to agree with the larger part of the surface.",
            faces=body.ids[body.turned],
        )
        + finding(
            "M116",
            Severity.WARNING,
            one_sided,
            f"A one-sided surface of {counted(one_sided, 'face')} (a Moebius band): no winding agrees everywhere.",
            remedy="Pick a region that does not run all the way round it.",
            faces=body.ids[body.one_sided],
        )
        + finding(
            "M117",
            Severity.WARNING,
            len(inward),
            f"{counted(len(inward), 'closed shell')} inside out: the faces look inwards.",
            remedy="Mending turns them outwards.",
            faces=body.ids[np.isin(body.shell, inward)],
        )
    )


def shell_findings(body: Anatomy, island: BoolArray) -> list[Finding]:
    """Return M118 (several pieces) and M119 (open loops)."""
    heads = np.bincount(body.shell, minlength=body.shell_count)[~island]
    pieces = len(heads) if len(heads) > 1 else 0
    rims = body.rims
    loops = len(rims.whole)
    longest = [in_mm(length) for length in np.sort(rims.length_mm)[::-1][:_NAMED]]
    return finding(
        "M118",
        Severity.NOTE,
        pieces,
        f"{counted(pieces, 'separate piece')} of comparable size, of {_some(heads, '{:,}')} faces.",
        remedy="Nothing to do; a part is made of one of them.",
    ) + finding(
        "M119",
        Severity.NOTE,
        loops,
        f"{counted(loops, 'open loop')}, {_some(longest, '{}', loops)} long.",
        remedy="Nothing to do for a rim; fill a hole that should not be there.",
        faces=body.ids[rims.half_edge // 3],
    )


_NAMED = 5


def _some(values: IntArray | list[str], form: str, count: int | None = None) -> str:
    """Say the first few of many: ``1, 2, 3 and 4 more``."""
    total = len(values) if count is None else count
    said = [form.format(value) for value in values[:_NAMED]]
    if total > _NAMED:
        return f"{', '.join(said)} and {total - _NAMED:,} more"
    return " and ".join([", ".join(said[:-1]), said[-1]]) if len(said) > 1 else "".join(said)
