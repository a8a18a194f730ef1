"""A piece of the scan, picked and made ready to lie flat.

Terms: the *rim* is the outer boundary loop; a *seam* is a cut that the maker (or the shortest path) opened a ring
along, so its vertices stand twice; the *neutral surface* lies inside the thickness where bending neither stretches
nor shortens, taken here at the middle of the thickness.

Convention: normals point to the outer face of the piece. ``side`` says which face of the material was scanned.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray, frozen
from meshflow.model.finding import Finding
from meshflow.model.surface import Surface

__all__ = ["FaceUp", "Region", "Side", "Smoothing"]

Side = Literal["outer", "middle", "inner"]
FaceUp = Literal["outer", "inner"]


@dataclass(frozen=True, slots=True)
class Smoothing:
    """What making the carrier surface changed.

    Parameters
    ----------
    length_mm : float
        Feature length: waves shorter than this were removed [mm]; 0 when nothing was done.
    reason : str
        Why this length.
    noise_mm : float
        Estimated standard deviation of the scan noise, along the normal [mm].
    moved_max_mm, moved_rms_mm : float
        Largest and root-mean-square displacement [mm].
    length_removed : float
        Share of the edge length that was noise, for example 0.012 for 1.2 %.
    """

    length_mm: float = 0.0
    reason: str = "not asked for"
    noise_mm: float = 0.0
    moved_max_mm: float = 0.0
    moved_rms_mm: float = 0.0
    length_removed: float = 0.0


@dataclass(frozen=True, eq=False)
class Region:
    """A disk-shaped piece of a `Surface` (a ring is opened along a seam first).

    Parameters
    ----------
    name : str
        Name of the part.
    surface : Surface
        The scan it was taken from.
    vertices : (n, 3) float array
        Positions [mm]: on the scan at first, on the carrier's neutral surface once prepared.
    faces : (m, 3) int array
        Indices into `vertices`.
    face_parent : (m,) int array
        Face id of `surface` that each face lies in.
    vertex_parent : (n,) int array
        Face id of `surface` that each vertex lies in.
    barycentric : (n, 3) float array
        Position of each vertex within that face.
    selector : str
        How it was picked.
    seam_pairs : (k, 2) int array
        Vertices that coincide on the formed piece and were parted by the seam, in order along it.
    thickness : float
        Material thickness [mm].
    side : {"outer", "middle", "inner"}
        Face of the material that the scan shows.
    face_up : {"outer", "inner"}
        Face that looks up on the pattern.
    offset_mm : float
        How far the vertices were moved along the outward normal to reach the neutral surface [mm].
    smoothing : Smoothing
        What the carrier surface changed.
    notes : tuple of Finding
        What selecting, opening and offsetting had to say.
    conjectured_share, mirrored_share : float
        Share of the area, 0 to 1, that lies on faces of the scan that are a guess (a filled hole) or a mirror image.
        Kept here because later stages do without the scan.
    layer_offset_mm : float
        How far the face that `side` names lies from the scanned surface, outward where positive: 0 for what lies on
        it, 6 for a cover over 6 mm of padding [mm].
    on_scan : (n, 3) float array, optional
        Where each vertex lies on the scan itself, for trying a pattern on it [mm]; None until a stage that has the scan
        at hand says so.
    """

    name: str
    surface: Surface
    vertices: FloatArray
    faces: IntArray
    face_parent: IntArray
    vertex_parent: IntArray
    barycentric: FloatArray
    selector: str = "all"
    seam_pairs: IntArray | None = None
    thickness: float = 0.0
    side: Side = "middle"
    face_up: FaceUp = "outer"
    offset_mm: float = 0.0
    smoothing: Smoothing = Smoothing()
    notes: tuple[Finding, ...] = ()
    conjectured_share: float = 0.0
    mirrored_share: float = 0.0
    layer_offset_mm: float = 0.0
    on_scan: FloatArray | None = None

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "vertices", frozen(self.vertices, np.float64, columns=3))
        put(self, "faces", frozen(self.faces, np.int64, columns=3))
        put(self, "face_parent", frozen(self.face_parent, np.int64))
        put(self, "vertex_parent", frozen(self.vertex_parent, np.int64))
        put(self, "barycentric", frozen(self.barycentric, np.float64, columns=3))
        pairs = np.empty((0, 2)) if self.seam_pairs is None else self.seam_pairs
        put(self, "seam_pairs", frozen(pairs, np.int64, columns=2))
        if self.on_scan is not None:
            put(self, "on_scan", frozen(self.on_scan, np.float64, columns=3))
