"""A region laid flat, and how much the material must give to take its shape again.

Definitions (the only ones in the house)
----------------------------------------
``stretch``       length on the formed piece over length on the flat piece. 1.08: the maker must stretch that fibre
                  8 % to seat it; 0.95: it must gather 5 %. Principal stretches s1 >= s2 for each face. (Papers
                  mostly use the reciprocal, flat over formed.)
percentiles       area-weighted, over s1 and s2 of all faces together; the weight is the area on the formed piece.
``area_ratio``    s1 * s2, formed area over flat area; 1 / (s1 * s2) is the thickness ratio of a metal sheet.

Verdicts
--------
``lies_flat``                   no band of faces strains more than 0.2 % (by the area-weighted p99 of the strain) and
                                the tightest curve is not under the material's least bend radius
``forms_within_limit``          within the material's stretch and gather limits
``over_limit_no_uncut_pattern`` over a limit, and a lower bound proves that no uncut pattern can do better
``over_limit``                  over a limit, unproven: try a dart
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

import numpy as np

from meshflow.model.arrays import FloatArray, IntArray, frozen, weighted_percentile
from meshflow.model.dart import DartTable, SewnPair
from meshflow.model.finding import Finding
from meshflow.model.forming import Forming, Shear
from meshflow.model.region import Region

__all__ = ["Distortion", "Edge", "FlatPattern", "Limits", "Method", "Seam", "Verdict"]

Method = Literal["developed", "isometric", "least_worst", "woven", "formed"]

LIES_FLAT_STRAIN = 0.002


class Verdict(StrEnum):
    """What the flattening means for the maker; see the module's text."""

    LIES_FLAT = "lies_flat"
    FORMS_WITHIN_LIMIT = "forms_within_limit"
    OVER_LIMIT_NO_UNCUT_PATTERN = "over_limit_no_uncut_pattern"
    OVER_LIMIT = "over_limit"


@dataclass(frozen=True, slots=True)
class Limits:
    """How far a material may be stretched and gathered, as shares of length (0.10 is 10 %).

    Parameters
    ----------
    stretch, gather : float
        Greatest allowed stretch - 1 and 1 - stretch.
    least_bend_radius_mm : float
        Inside bend radius under which the material cracks or creases [mm]; 0 when none is known.
    source : str
        Where the numbers come from, with their mark.
    """

    stretch: float = 0.0
    gather: float = 0.0
    least_bend_radius_mm: float = 0.0
    source: str = ""


@dataclass(frozen=True, eq=False)
class Distortion:
    """Stretch of every face, and the figures that stand for the whole piece.

    Parameters
    ----------
    s1, s2 : (m,) float array
        Larger and smaller principal stretch of each face (formed over flat).
    area_surface, area_flat : (m,) float array
        Area of each face on the formed piece and on the flat [mm2].
    rim_length_surface_mm, rim_length_flat_mm : float
        Length of the outer rim, seam sides included [mm].
    flipped_faces : int
        Faces that came out upside down; 0 in every result we hand out.
    overlap : bool
        Whether the flat outline crosses itself.
    total_curvature_rad : float
        Net Gaussian curvature of the piece: the sum of its interior angle defects [rad].
    least_bend_radius_mm : float
        Radius of the tightest curve, by area-weighted p1 [mm]; infinite for a flat piece.
    """

    s1: FloatArray
    s2: FloatArray
    area_surface: FloatArray
    area_flat: FloatArray
    rim_length_surface_mm: float
    rim_length_flat_mm: float
    flipped_faces: int
    overlap: bool
    total_curvature_rad: float
    least_bend_radius_mm: float

    def __post_init__(self) -> None:
        for name in ("s1", "s2", "area_surface", "area_flat"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64))

    def percentile(self, share: float) -> float:
        """Return the pooled, area-weighted percentile of the stretch.

        Parameters
        ----------
        share : float
            Between 0 and 1; 0.99 is the p99.

        Returns
        -------
        float
            The smallest stretch that at least `share` of the (doubled) area does not exceed.
        """
        return weighted_percentile(np.concatenate([self.s1, self.s2]), np.tile(self.area_surface, 2), share)

    def strain_percentile(self, share: float) -> float:
        """Return the area-weighted percentile of the larger of ``|s1 - 1|`` and ``|s2 - 1|`` of each face."""
        strain = np.maximum(np.abs(self.s1 - 1.0), np.abs(self.s2 - 1.0))
        return weighted_percentile(strain, self.area_surface, share)


@dataclass(frozen=True, eq=False)
class Edge:
    """A named run of the outline between two corners.

    Parameters
    ----------
    name : str
        ``rim``, ``seam-a``, ``seam-b``, ``hole-1`` ...
    vertices : (k,) int array
        Vertex indices in order, counter-clockwise round the piece (clockwise round a hole).
    loop : int
        0 for the outer outline, then the holes.
    closed : bool
        Whether the last vertex joins the first.
    """

    name: str
    vertices: IntArray
    loop: int = 0
    closed: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.int64))


@dataclass(frozen=True, slots=True)
class Seam:
    """Two edges that are joined on the formed piece.

    Parameters
    ----------
    edge_a, edge_b : str
        Names of the edges.
    ease_mm : float
        Length of a minus length of b on the flat: what one side must be gathered onto the other [mm].
    """

    edge_a: str
    edge_b: str
    ease_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class FlatPattern:
    """A region laid flat.

    Parameters
    ----------
    region : Region
        The piece as it was laid flat: carrier surface, neutral layer.
    vertices : (n, 2) float array
        Flat positions [mm], one for each vertex of the region; faces are counter-clockwise seen with the outer face
        up.
    distortion : Distortion
        How much the material must give.
    limits : Limits
        The limits the verdict was drawn against.
    verdict : Verdict
        What it means for the maker.
    edges : tuple of Edge
        The outline, loop by loop.
    seams : tuple of Seam
        Edges joined on the formed piece.
    grain_rad : float, optional
        Direction of the grain (leather: the backbone) on the flat, counter-clockwise from x [rad].
    method : {"developed", "isometric", "least_worst", "woven", "formed"}
        Unrolled exactly, or which objective the flattening makes least.
    energy : float
        Area-weighted mean symmetric Dirichlet energy; 4 is none.
    iterations : int
        Newton steps taken.
    stopped_by : str
        ``developed``, ``converged``, ``no_progress``, ``iteration_limit``, ``power_limit`` (the least worst stretch
        was still falling) or ``interrupt``.
    memory_bytes : int
        Memory of the factorisation, the largest there is; 0 for a developed piece.
    notes : tuple of Finding
        What flattening had to say.
    lower_bound_stretch : float
        What no uncut pattern can beat: the worst stretch or gather when both are balanced, at least 1; 1 where
        nothing is proven.
    backend : str
        What solved the linear systems; empty for a developed piece.
    forming : Forming, optional
        Thickness and blanks of a piece that is formed from annealed sheet.
    shear : Shear, optional
        Shear of a piece of cloth or leather.
    darts : DartTable, optional
        What each dart buys, where darts were cut.
    sewn : tuple of SewnPair
        Lengths of the edges that are joined.
    """

    region: Region
    vertices: FloatArray
    distortion: Distortion
    limits: Limits
    verdict: Verdict
    edges: tuple[Edge, ...]
    seams: tuple[Seam, ...] = ()
    grain_rad: float | None = None
    method: Method = "isometric"
    energy: float = 4.0
    iterations: int = 0
    stopped_by: str = "converged"
    notes: tuple[Finding, ...] = field(default=())
    lower_bound_stretch: float = 1.0
    backend: str = ""
    forming: Forming | None = None
    shear: Shear | None = None
    darts: DartTable | None = None
    sewn: tuple[SewnPair, ...] = ()
    memory_bytes: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.float64, columns=2))

    @property
    def faces(self) -> IntArray:
        """Faces of the pattern; the same as those of the region."""
        return self.region.faces

    @property
    def conjectured_share(self) -> float:
        """Share of the formed area that is a guess; see `Region`."""
        return self.region.conjectured_share

    @property
    def mirrored_share(self) -> float:
        """Share of the formed area that is a mirror image; see `Region`."""
        return self.region.mirrored_share

    def edge(self, name: str) -> Edge:
        """Return the edge called `name`; KeyError when there is none."""
        for edge in self.edges:
            if edge.name == name:
                return edge
        raise KeyError(name)
