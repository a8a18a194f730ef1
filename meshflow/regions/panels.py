"""A whole surface as a few panels that lie nearly flat.

What the maker calls it: cutting a cover; deciding where the seams run so that a dome, a mask, a saddle can be made
from flat pieces.

Terms: a *panel* is one flat piece of the cover; the *strain* of a panel is how far its material must stretch or gather
to take its shape (area-weighted p99); a *seam* is the line along which two panels are joined.

Convention: nothing is moved. The surface is cut along the seams, through the faces; every new face lies in an old one.

Method: `panels_cells` halves the surface into small cells; `panels_mosaic` joins cells to panels while the real
flattening says that they keep within the limit, and does without those it can spare; `panels_seams` draws the seams
smooth. A large scan is thinned for the search alone (`panels_coarse`); what it found is judged on the scan itself, and
a panel that strains too much there is built anew. How a panel is laid flat is the caller's business: the stage is
handed a callable, and believes nothing else. No random numbers are used, so the same surface gives the same panels.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from meshflow.errors import OptionError, TopologyError
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.rigid import Plane
from meshflow.regions.panels_cells import pieces_of, sheet_of
from meshflow.regions.panels_coarse import coarsened
from meshflow.regions.panels_cover import Panels
from meshflow.regions.panels_draw import Scan
from meshflow.regions.panels_mirror import cut_at_planes
from meshflow.regions.panels_search import Found, StrainOf, cost_of, few_panels, least_strained, unlike

__all__ = ["Panels", "panels"]

SEARCHED_FACES = 3000  # panels of a larger surface are looked for on a thinned stand-in of so many faces


def panels(
    vertices: FloatArray,
    faces: IntArray,
    strain_of: StrainOf,
    *,
    limit: float | None = None,
    count: int | None = None,
    planes: Sequence[Plane] = (),
    rough_of: StrainOf | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Panels:
    """Split a surface into few panels.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Welded, mended and consistently wound.
    strain_of : callable
        ``strain_of(vertices, faces)`` lays a connected piece flat and returns its strain as a share of length, or
        infinity where it cannot be laid flat.
    limit : float, optional
        Greatest strain a panel may have, such as 0.05.
    count : int, optional
        How many panels at most, instead of a limit; the strain comes out as it may.
    planes : sequence of Plane
        Planes the surface is symmetric about, at right angles to each other; panels come in mirrored pairs then, or
        are symmetric themselves.
    rough_of : callable, optional
        As `strain_of`, quicker and less exact, for the search; what it finds is judged by `strain_of`.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    Panels
        Every panel within the limit.

    Raises
    ------
    OptionError
        If not exactly one of limit and count is given, or it is out of range.
    TopologyError
        If the surface has no faces, more loose pieces than panels were asked for, or a single face cannot be laid flat.
    """
    _check(limit, count)
    report = progress or (lambda what, share: None)
    report("thinning", 0.0)
    stand_in = coarsened(vertices, faces, SEARCHED_FACES)
    loose = len(pieces_of(sheet_of(*stand_in)))
    if count is not None and loose > count:
        raise TopologyError(
            f"the surface is {loose} pieces that do not hang together, more than the {count} asked for.",
            remedy="Ask for more panels, or mend the surface and take its loose bits off.",
        )
    report("joining cells", 0.1)
    rough_of = rough_of or strain_of
    cut = cut_at_planes(vertices, faces, planes)
    scan = Scan(cut.vertices, cut.faces, strain_of, rough_of, report, limit=np.inf if limit is None else limit)
    if limit is not None:
        tried = few_panels(*stand_in, rough_of, limit, planes)
        # Seams drawn on the surface itself tell more than the stand-in, but a large one is not drawn for each plane.
        covers = [(scan.within(one), one) for one in (tried if len(faces) <= SEARCHED_FACES else tried[:1])]
        found = min(covers, key=lambda pair: _cost(pair[0], pair[1], planes))[0]
    else:
        found = scan.smoothest(least_strained(*stand_in, rough_of, int(count or 1), planes))
    return replace(found, parent=cut.parent[found.parent])


def _cost(cover: Panels, found: Found, planes: Sequence[Plane]) -> float:
    area = float(found.mosaic.areas.sum())
    return cost_of(cover.seam_mm, area, cover.count) + unlike(found.mosaic.images, planes)


def _check(limit: float | None, count: int | None) -> None:
    if (limit is None) == (count is None):
        raise OptionError("panels need a limit of strain or a number of panels.", remedy="Give one of the two.")
    if limit is not None and not 1e-4 <= limit <= 1.0:
        raise OptionError(
            f"a limit of {100 * limit:g} % cannot be used.", remedy="Give between 0.01 % and 100 %; 5 % is usual."
        )
    if count is not None and count < 1:
        raise OptionError(f"{count} panels make no cover.", remedy="Ask for 1 or more.")
