"""What the search for panels hands on: the cut surface, the panels numbered, their strains and seams."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from meshflow.geometry.triangles import face_areas
from meshflow.model.arrays import FloatArray, IntArray, frozen
from meshflow.regions.panels_cells import sheet_of
from meshflow.regions.panels_chains import WIDTH, length_of, runs_between, waviness
from meshflow.regions.panels_seams import CutPanels

__all__ = ["Panels", "numbered"]


@dataclass(frozen=True, eq=False)
class Panels:
    """A surface cut into panels.

    Parameters
    ----------
    vertices : (n, 3) float array
        Those of the surface first [mm].
    faces : (m, 3) int array
        Vertex indices, in the order of the faces they came from.
    label : (m,) int array
        Panel of each face, from 1, the largest panel first.
    parent : (m,) int array
        Face of the surface that each lies in.
    strain : (p,) float array
        Strain of each panel.
    seam_mm : float
        Length of the seams between panels [mm].
    smoothed_mm : float
        Wiggles shorter than this were taken out of the seams [mm]; 0 when some run along edges.
    flattenings : int
        How often a set of faces was laid flat on the way.
    """

    vertices: FloatArray
    faces: IntArray
    label: IntArray
    parent: IntArray
    strain: FloatArray
    seam_mm: float
    smoothed_mm: float
    flattenings: int

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "vertices", frozen(self.vertices, np.float64, columns=3))
        put(self, "faces", frozen(self.faces, np.int64, columns=3))
        for name in ("label", "parent"):
            put(self, name, frozen(getattr(self, name), np.int64))
        put(self, "strain", frozen(self.strain, np.float64))

    @property
    def count(self) -> int:
        """How many panels."""
        return len(self.strain)

    @cached_property
    def waviness(self) -> FloatArray:
        """Length and waviness of each seam, as `panels_chains` understands it, shape (s, 2)."""
        side = float(np.sqrt(face_areas(self.vertices, self.faces).sum() / self.count))
        lines = [self.vertices[list(run.vertices)] for run in runs_between(self.faces, self.label)]
        return np.array([(length_of(line), waviness(line, WIDTH * side)) for line in lines]).reshape(-1, 2)

    @property
    def seam_waviness(self) -> float:
        """How much longer all seams are together than without their wiggles; a saw of right angles has 0.41."""
        length, wavy = self.waviness.T
        return float(length.sum() / max((length / (1.0 + wavy)).sum(), 1e-300) - 1.0) if len(length) else 0.0


def numbered(cut: CutPanels, strain: FloatArray, smoothed_mm: float, flattenings: int) -> Panels:
    """Return a cut surface as panels, numbered from 1, the largest first.

    Parameters
    ----------
    cut : CutPanels
        The surface cut along its seams.
    strain : (p,) float array
        Strain of each panel, in the order of the labels of `cut`.
    smoothed_mm, flattenings : float and int
        See `Panels`.

    Returns
    -------
    Panels
        With the length of the seams.
    """
    _, label = np.unique(cut.label, return_inverse=True)
    area = np.bincount(label, weights=face_areas(cut.vertices, cut.faces))
    order = np.argsort(-area, kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    sheet = sheet_of(cut.vertices, cut.faces)
    across = np.where(sheet.neighbour >= 0, label[sheet.neighbour], label[:, None]) != label[:, None]
    seam = 0.5 * float(sheet.side[across].sum())
    return Panels(cut.vertices, cut.faces, rank[label] + 1, cut.parent, strain[order], seam, smoothed_mm, flattenings)
