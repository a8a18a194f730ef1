"""The search for panels on a stand-in: which faces go together; where exactly the seams run comes after.

Method: see `panels`. Cells are joined under a limit; where the surface has planes of symmetry, on one side only, the
other sides being its images.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from meshflow.errors import TopologyError
from meshflow.geometry.topology import submesh
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.rigid import Plane
from meshflow.regions.panels_cells import cells_of, pieces_of, sheet_of
from meshflow.regions.panels_estimate import Estimate
from meshflow.regions.panels_mirror import side_and_images
from meshflow.regions.panels_mosaic import Mosaic, Panel

__all__ = ["Found", "StrainOf", "cost_of", "few_panels", "few_within", "least_strained", "unlike"]

StrainOf = Callable[[FloatArray, IntArray], float]

CELL_SHARE = 0.25  # of the limit: so flat that a cell fits into any panel
CELLS_PER_PANEL = 12
# Ragged seams relieve a panel as darts do, so a panel strains more when its seams are smooth, and on the scan itself
# more than on its stand-in.
ROOM = 0.9
_WORTHS = (1.0, 2.0, 4.0)  # of short seams against little strain: which is best no rule tells, so all are tried
_FINALISTS = 2
_SPARE_TRIES = 1  # flattenings a cell spent on doing without panels
_MUST_FALL = 0.9  # to this share must strain fall to give up a plane of symmetry
_UNLIKE_COST = 2.0  # panels that are not mirror images must save four
_PANEL_COST = 0.5  # a panel more must save so much seam, in sides of a square as large as the surface
_TRIALS_OF_A_LIMIT = 6
_NO_LIMIT = 16.0  # anything that can be laid flat at all


@dataclass(frozen=True, eq=False)
class Found:
    """Panels of a stand-in.

    Parameters
    ----------
    mosaic : Mosaic
        Its cells.
    panels : list of tuple of int
        Cells of each panel.
    """

    mosaic: Mosaic
    panels: list[Panel]

    @property
    def label(self) -> IntArray:
        """Panel of each face of the stand-in."""
        label = np.zeros(len(self.mosaic.sheet.faces), dtype=np.int64)
        for index, panel in enumerate(self.panels):
            label[self.mosaic.faces(panel)] = index
        return label

    @property
    def strain(self) -> float:
        """Greatest strain of a panel, on the stand-in."""
        return max(self.mosaic.strain(panel) for panel in self.panels)

    @property
    def cost(self) -> float:
        """See `cost_of`."""
        return cost_of(self.mosaic.seam_length(self.panels), float(self.mosaic.areas.sum()), len(self.panels))


def few_panels(
    vertices: FloatArray, faces: IntArray, strain_of: StrainOf, limit: float, planes: Sequence[Plane]
) -> list[Found]:
    """Return few panels within a limit: with all planes of symmetry, with all but the last, and so on to none.

    Parameters
    ----------
    vertices, faces
        The stand-in.
    strain_of : callable
        See `panels`.
    limit : float
        Greatest strain.
    planes : sequence of Plane
        Planes of symmetry, at right angles to each other.

    Returns
    -------
    list of Found
        Panels of the stand-in, or of its mirrored side, the cheapest first.
    """
    mosaics = _mosaics(vertices, faces, strain_of, planes, limit=limit)
    found = [few_within(mosaic, ROOM * limit) for mosaic in mosaics]
    return sorted(found, key=lambda one: one.cost + unlike(one.mosaic.images, planes))


def cost_of(seam_mm: float, area_mm2: float, panels: int) -> float:
    """Return the length of the seams over the side of a square as large as the surface, and what the panels cost."""
    return round(seam_mm / float(np.sqrt(area_mm2)) + _PANEL_COST * panels, 9)


def unlike(images: int, planes: Sequence[Plane]) -> float:
    """Return what it costs that panels are not symmetric about a plane although the surface is."""
    return _UNLIKE_COST if planes and images == 1 else 0.0


def few_within(mosaic: Mosaic, limit: float) -> Found:
    """Return few panels of these cells, joined under several weights; the best covers do without spare panels."""
    tried = [Found(mosaic, mosaic.joined(mosaic.single, limit, worth=worth)) for worth in _WORTHS]
    finalists = sorted(tried, key=lambda found: found.cost)[:_FINALISTS]
    return min((_without_spare(found, limit) for found in finalists), key=lambda found: found.cost)


def _without_spare(found: Found, limit: float) -> Found:
    mosaic = found.mosaic
    return Found(mosaic, mosaic.dissolved(found.panels, limit, most=_SPARE_TRIES * len(mosaic.cells)))


def least_strained(
    vertices: FloatArray, faces: IntArray, strain_of: StrainOf, count: int, planes: Sequence[Plane]
) -> Found:
    """Return at most `count` panels, strained as little as a bisection of the limit finds.

    Raises
    ------
    TopologyError
        If no so few panels that can be laid flat were found.
    """
    best: Found | None = None
    fewest = 0
    for mosaic in _mosaics(vertices, faces, strain_of, planes, count=count):
        found = _least(mosaic, count)
        fewest = min(fewest or len(found.panels), len(found.panels))
        if len(found.panels) <= count and (best is None or found.strain < _MUST_FALL * best.strain):
            best = found
    if best is None:
        raise TopologyError(
            f"the fewest panels found that can be laid flat are {fewest}, more than the {count} asked for.",
            remedy="Ask for more panels.",
        )
    return best


def _mosaics(
    vertices: FloatArray,
    faces: IntArray,
    strain_of: StrainOf,
    planes: Sequence[Plane],
    *,
    limit: float = np.inf,
    count: int = 0,
) -> list[Mosaic]:
    """Return the cells of the stand-in mirrored in all planes, in all but the last, and so on to none."""
    numbers = range(len(planes), -1, -1)
    return [_mosaic(vertices, faces, strain_of, planes[:number], limit, count) for number in numbers]


def _mosaic(
    vertices: FloatArray, faces: IntArray, strain_of: StrainOf, planes: Sequence[Plane], limit: float, count: int
) -> Mosaic:
    """Return cells, each within a share of the limit, and none much larger than its share of `count` panels."""
    sheet = sheet_of(*(side_and_images(vertices, faces, planes) if planes else (vertices, faces)))
    images = 2 ** len(planes)
    each = len(sheet.faces) // images
    estimate = Estimate(sheet)
    most = float(sheet.areas.sum()) / (CELLS_PER_PANEL * count) if count else np.inf
    known: dict[int, float] = {}

    def strain(ids: IntArray) -> float:
        return strain_of(*submesh(sheet.vertices, sheet.faces, ids)[:2])

    def small_enough(piece: IntArray) -> bool:
        if sheet.areas[piece].sum() > most or not estimate(piece) <= min(CELL_SHARE * limit, _NO_LIMIT):
            return False
        known[int(piece[0])] = strain(piece)
        return known[int(piece[0])] <= min(limit, _NO_LIMIT)

    side = cells_of(sheet, pieces_of(sheet, np.arange(each)), small_enough)
    cells = [cell + number * each for number in range(images) for cell in side]
    table = np.arange(images)[:, None] ^ np.arange(images)[None, :]
    row = (table[:, :, None] * len(side) + np.arange(len(side))).reshape(images, -1)
    mosaic = Mosaic(sheet, cells, strain, estimate, images=row)
    for index, cell in enumerate(side):
        if len(cell) > 1:
            mosaic.knows((index,), known[int(cell[0])])
    return mosaic


def _least(mosaic: Mosaic, count: int) -> Found:
    best = Found(mosaic, mosaic.joined(mosaic.single, _NO_LIMIT))
    if len(best.panels) > count:
        best = _without_spare(best, _NO_LIMIT)
    if len(best.panels) > count:
        return best
    low, high = 0.0, best.strain
    for _ in range(_TRIALS_OF_A_LIMIT):
        if high <= 1e-4 or high < 1.05 * low:
            break
        limit = float(np.sqrt(low * high)) if low > 0 else high / 4.0
        found = Found(mosaic, mosaic.joined(mosaic.single, limit))
        if len(found.panels) <= count:
            best, high = found, found.strain
        else:
            low = limit
    return best
