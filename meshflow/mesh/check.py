"""Looking a mesh over: is the scan fit to use, what is wrong with it, and what helps.

What the maker calls it: checking the scan. Nothing is changed here; `mend` does what is safe.

Terms: a *shell* is a set of faces joined by edges; a *loop* is a closed run of open edges; the rest stands with the
detectors (`sound`, `winding`, `rims`, `anatomy`, `tjunctions`, `crossings`, `roughness`).

Convention: connectivity is that of the welded mesh, face ids are those of the surface as given. A fault is named
once: a repeated face does not make its edges branch as well. Only M201 refuses, when nothing with an area is left:
everything else may lie outside the region that will be picked.

The codes, stable for good (M101 to M107 are the reader's, see `meshflow.mesh`):

====  ========  ================================================================================================
code  severity  what
====  ========  ================================================================================================
M110  note      corners that stand in one place: a triangle soup, or split seams
M111  note      vertices that no face uses
M112  warning   faces repeated exactly
M113  warning   faces back to back: a two-sided sheet, a double wall
M114  warning   edges where more than two faces meet
M115  warning   points where pieces only touch
M116  warning   faces wound against their neighbours, and one-sided surfaces
M117  warning   closed shells inside out (the wall of a cavity inside another shell is not)
M118  note      several pieces of comparable size
M119  note      open loops: how many, how long
M201  warning   faces without area; *refuse* when there are no others
M202  note      slivers, faces of shape ``4 sqrt(3) area / (a^2 + b^2 + c^2)`` under 0.05; warning under 1e-6
M203  warning   faces that run through each other or lie on one another, deeper than the weld tolerance
M204  warning   corners in the middle of another face's open edge
M205  note      far from the origin: over a thousand times the piece's own size
M206  warning   longest side under 2 mm or over 20 m, with the units that would explain it; nothing is assumed
M207  note      thin necks: strips between rims narrower than three median edges
M301  warning   islands: shells under a twentieth of the main one's size and a quarter of its faces
M302  note      pin holes: loops of at most 12 edges and three median edges across that are not the rim
M303  warning   spikes: single points that stick out by 0.8 of the width of their ring of neighbours
M304  note      noise over 0.02 of the edge length; warning over 0.05
====  ========  ================================================================================================

Mending adds M310 (reduced, or not). A finding that lies somewhere says where its worst case is.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from meshflow.mesh.anatomy import Anatomy, anatomy, islands
from meshflow.mesh.blemishes import (
    crossing_findings,
    flat_findings,
    place_findings,
    seam_findings,
    size_findings,
    sliver_findings,
)
from meshflow.mesh.carry import centred, checked
from meshflow.mesh.defects import (
    copy_findings,
    corner_findings,
    edge_findings,
    shell_findings,
    winding_findings,
)
from meshflow.mesh.dirt import (
    hole_findings,
    island_findings,
    neck_findings,
    noise_findings,
    noise_of,
    spike_findings,
)
from meshflow.mesh.holes import holes
from meshflow.mesh.likely_unit import likely_unit
from meshflow.mesh.roughness import Roughness
from meshflow.mesh.sound import face_shapes
from meshflow.mesh.tjunctions import t_junctions
from meshflow.mesh.weld import weld, weld_tolerance
from meshflow.mesh.whereabouts import located
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.model.check import CheckReport
from meshflow.model.finding import Finding
from meshflow.model.surface import Evidence, Surface

__all__ = ["check"]


def check(surface: Surface) -> CheckReport:
    """Look a mesh over.

    Parameters
    ----------
    surface : Surface
        The mesh as read: neither welded nor mended.

    Returns
    -------
    CheckReport
        Size, counts and findings. `vertices` and `faces` are counted as in the file, `shells` and `boundary_loops`
        after welding. The reader's notes come first, then the findings by code, with face ids of `surface`.

    Raises
    ------
    InputError
        If a face names a vertex that is not there, or a coordinate that is no finite number.

    Examples
    --------
    >>> corners = [[0, 0, 0], [40, 0, 0], [0, 30, 0], [40, 0, 0], [40, 30, 0], [0, 30, 0]]
    >>> report = check(Surface(corners, [[0, 1, 2], [3, 4, 5]]))
    >>> report.usable, report.shells, [finding.code for finding in report.findings]
    (True, 1, ['M110', 'M119'])
    """
    surface = checked(surface)
    vertices, rounding = centred(surface.vertices, surface.faces)
    tolerance = weld_tolerance(vertices, surface.faces)
    welded = weld(surface)
    body = anatomy(centred(welded.vertices, welded.faces)[0], welded.faces, rounding)
    found = corner_findings(surface, welded, tolerance) + copy_findings(body)
    rough = Roughness(failed="there is no surface")
    if len(body.ids):
        island = islands(body)
        rough = noise_of(body, island)
        found += [*_of_sound_faces(surface, body, tolerance, island), *noise_findings(rough)]
    else:
        found += flat_findings(surface, body)
    found += place_findings(surface) + size_findings(surface)
    found.sort(key=lambda finding: finding.code)  # stable: two findings of one code keep their order
    loops = holes(body, _middle(welded))
    return CheckReport(
        source=surface.source,
        vertices=len(surface.vertices),
        faces=len(surface.faces),
        extent_mm=surface.extent_mm,
        shells=body.shell_count,
        boundary_loops=len(body.rims.whole),
        findings=surface.notes + tuple(located(found, surface, body, loops)),
        holes=loops,
        noise_sigma_mm=None if rough.failed else rough.sigma_mm,
        noise_unknown=rough.failed,
        likely_unit=likely_unit(surface),
        shapes=face_shapes(body.vertices, body.faces),
    )


def _middle(surface: Surface) -> FloatArray:
    """Where the middle of the box is that `centred` moves to the origin."""
    if len(surface.faces) == 0:
        return np.zeros(3)
    corner = surface.vertices[surface.faces]
    return np.asarray(0.5 * corner.min(axis=(0, 1)) + 0.5 * corner.max(axis=(0, 1)))


def _of_sound_faces(surface: Surface, body: Anatomy, tolerance: float, island: BoolArray) -> Iterator[Finding]:
    """Run the detectors that need at least one face with an area."""
    measured = surface.evidence[body.ids] != Evidence.CONJECTURED  # type: ignore[index]  # filled in by Surface
    seams = t_junctions(body.vertices, body.faces, body.table, tolerance)
    yield from flat_findings(surface, body)
    yield from edge_findings(body, seams)
    yield from winding_findings(body, island)
    yield from shell_findings(body, island)
    yield from sliver_findings(body)
    yield from crossing_findings(body, tolerance)
    yield from seam_findings(body, seams)
    yield from island_findings(body, island)
    yield from hole_findings(body, island, measured)
    yield from spike_findings(body, island)
    yield from neck_findings(body, island)
