"""Findings M301 to M304: what scanners leave behind; and M207, necks between rims."""

from __future__ import annotations

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.mesh.anatomy import ISLAND_SHARE, PIN_HOLE_EDGES, Anatomy, pin_hole_size, pin_holes
from meshflow.mesh.necks import necks
from meshflow.mesh.roughness import ALL_CREASED, Roughness, roughness
from meshflow.mesh.spikes import spikes
from meshflow.mesh.wording import counted, finding, in_mm
from meshflow.model.arrays import BoolArray
from meshflow.model.finding import Finding, Severity

__all__ = ["hole_findings", "island_findings", "neck_findings", "noise_findings", "noise_of", "spike_findings"]

_NOISE_NOTED = 0.02  # of the edge length: lengths 0.04 % too long, and a machine's mesh of tight curves stays under it
_NOISE_WARNED = 0.05  # 0.25 % too long: a millimetre on the rim of a saddle skirt


def island_findings(body: Anatomy, island: BoolArray) -> list[Finding]:
    """Return M301: loose scraps beside the piece."""
    count = int(island.sum())
    faces = body.ids[island[body.shell]]
    return finding(
        "M301",
        Severity.WARNING,
        count,
        f"{counted(count, 'island')} of {counted(len(faces), 'face')} in all: loose scraps smaller than "
        f"{ISLAND_SHARE:.0%} of the main piece.",
        remedy="Mending drops them.",
        faces=faces,
    )


def hole_findings(body: Anatomy, island: BoolArray, measured: BoolArray) -> list[Finding]:
    """Return M302: gaps of a few edges that are not the rim of their piece; faces filled in are not `measured`."""
    if len(body.rims.whole) == 0:
        return []
    counts = measured & ~island[body.shell]
    size = pin_hole_size(body, counts)
    loops = pin_holes(body, size, counts)
    loops = loops[~island[body.loop_shell()[loops]]]
    at = np.isin(body.rims.loop, loops)
    return finding(
        "M302",
        Severity.NOTE,
        len(loops),
        f"{counted(len(loops), 'pin hole')} of at most {PIN_HOLE_EDGES} edges and {in_mm(size)} across.",
        remedy="Mending closes them; the new faces are marked as conjecture.",
        faces=body.ids[body.rims.half_edge[at] // 3],
    )


def spike_findings(body: Anatomy, island: BoolArray) -> list[Finding]:
    """Return M303: single points that stick out."""
    tips = np.zeros(len(body.vertices), dtype=np.bool_)
    tips[spikes(body.vertices, body.faces, body.table)] = True
    of_piece = ~island[body.shell]
    at = tips[body.faces].any(axis=1) & of_piece
    count = len(np.unique(body.faces[at][tips[body.faces[at]]]))
    return finding(
        "M303",
        Severity.WARNING,
        count,
        f"{counted(count, 'spike')}: single points that stick out by about the width of a triangle or more.",
        remedy="Look at these faces: a real tip may stay; mending draws a scanner's spike back when asked to.",
        faces=body.ids[at],
    )


def noise_of(body: Anatomy, island: BoolArray) -> Roughness:
    """Return the grain of the surface, islands left out."""
    keep = ~island[body.shell]
    faces = body.faces[keep]
    return roughness(body.vertices, faces, body.table if keep.all() else edge_table(faces))


def noise_findings(rough: Roughness) -> list[Finding]:
    """Return M304: the grain of the surface."""
    noisy = rough.ratio > _NOISE_NOTED
    severity = Severity.WARNING if rough.ratio > _NOISE_WARNED else Severity.NOTE
    if rough.failed == ALL_CREASED:
        text = f"Sharp shape or heavy noise, it cannot be told which: {rough.failed}. The noise is at most "
        text += f"{in_mm(rough.sigma_mm)}, {rough.ratio:.2g} of the edge length."
        return finding("M304", severity, int(noisy), text, remedy="Look at the surface; smooth it if it should be.")
    return finding(
        "M304",
        severity,
        int(noisy),
        f"The surface is rough by {in_mm(rough.sigma_mm)} (one sigma along the normal), {rough.ratio:.2g} of the edge "
        f"length of {in_mm(rough.edge_mm)}: scan noise or a fine grain. Lengths on it come out about "
        f"{rough.ratio**2:.2%} too long.",
        remedy="Flatten it smoothed, at a length above the grain; mending smooths it for good when asked to.",
    )


def neck_findings(body: Anatomy, island: BoolArray) -> list[Finding]:
    """Return M207: strips of surface between rims that are narrower than three median edges."""
    if len(body.rims.whole) == 0:
        return []
    width = pin_hole_size(body)
    found = necks(body, width, ~island)
    if len(found.width_mm) == 0:
        return []
    return finding(
        "M207",
        Severity.NOTE,
        len(found.width_mm),
        f"{counted(len(found.width_mm), 'thin neck')} between rims, narrower than {in_mm(width)} (three median edges), "
        f"the thinnest about {in_mm(float(found.width_mm.min()))}.",
        remedy="Fill the hole beside it, or pick a region that does not hang by it: it may tear when it is formed.",
        faces=body.ids[found.faces],
    )
