"""What `check` hands back: the size of the mesh, and everything found in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Source

__all__ = ["CHECK_SCHEMA", "CheckReport", "FaceShapes", "Hole", "LikelyUnit"]

CHECK_SCHEMA: Final = "meshflow-check-1"


@dataclass(frozen=True, slots=True)
class Hole:
    """One open loop.

    Parameters
    ----------
    loop : int
        Its number, to ask for it by when mending.
    length_mm, width_mm : float
        Length of the loop; largest distance between two of its corners [mm].
    edges : int
        Its edges.
    faces : tuple of int
        Some of the faces round it, the lowest ids.
    centre_mm : (float, float, float)
        Mean of its corners [mm].
    rim : bool
        Whether it is the longest loop of its shell.
    whole : bool
        Whether it closes without meeting an edge where the surface branches.
    """

    loop: int
    length_mm: float
    width_mm: float
    edges: int
    faces: tuple[int, ...]
    centre_mm: tuple[float, float, float]
    rim: bool = False
    whole: bool = True

    def to_json(self) -> dict[str, Any]:
        """Return the loop as plain data."""
        return {
            "loop": self.loop,
            "length_mm": self.length_mm,
            "width_mm": self.width_mm,
            "edges": self.edges,
            "faces": list(self.faces),
            "centre_mm": list(self.centre_mm),
            "rim": self.rim,
            "whole": self.whole,
        }


@dataclass(frozen=True, slots=True)
class LikelyUnit:
    """Which unit the size speaks for; a hint that nothing acts on.

    Parameters
    ----------
    unit : str
        Its name; empty when no unit makes the size a likely one.
    reason : str
        Why, in words.
    """

    unit: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class FaceShapes:
    """How even the triangles are: 1 is equilateral, 0 is a line.

    Parameters
    ----------
    mean, least : float
        Over the faces.
    poor_share : float
        Share of the faces under a tenth.
    edge_mm : float
        Median edge length [mm].
    """

    mean: float = 0.0
    least: float = 0.0
    poor_share: float = 0.0
    edge_mm: float = 0.0

    def to_json(self) -> dict[str, float]:
        """Return the shapes as plain data."""
        return {"mean": self.mean, "least": self.least, "poor_share": self.poor_share, "edge_mm": self.edge_mm}


@dataclass(frozen=True, slots=True)
class CheckReport:
    """Whether a mesh is fit to use, and why not.

    Parameters
    ----------
    source : Source
        The file it was read from.
    vertices, faces : int
        Counts as in the file.
    extent_mm : (float, float, float)
        Size of the bounding box of the faces [mm].
    shells, boundary_loops : int
        Pieces that hang together, and open loops, counted after welding: a triangle soup counts as the surface it
        shows. Faces without area, repeated faces and the second side of a two-sided sheet do not take part.
    findings : tuple of Finding
        The reader's own notes first, then what the check found, by code. Face ids are those of the surface as read.
    holes : tuple of Hole
        The open loops, the widest first.
    noise_sigma_mm : float, optional
        Standard deviation of the scan noise along the normal [mm]; None when it cannot be told.
    noise_unknown : str
        Why it cannot be told; empty when it can.
    likely_unit : LikelyUnit
        What the size speaks for.
    shapes : FaceShapes
        How even the triangles are.
    """

    source: Source
    vertices: int
    faces: int
    extent_mm: tuple[float, float, float]
    shells: int
    boundary_loops: int
    findings: tuple[Finding, ...] = field(default=())
    holes: tuple[Hole, ...] = field(default=())
    noise_sigma_mm: float | None = None
    noise_unknown: str = ""
    likely_unit: LikelyUnit = LikelyUnit()
    shapes: FaceShapes = FaceShapes()

    @property
    def usable(self) -> bool:
        """Whether nothing found rules the mesh out."""
        return all(finding.severity is not Severity.REFUSE for finding in self.findings)

    def to_json(self) -> dict[str, Any]:
        """Return the report as plain data, in the key order of the contract."""
        return {
            "schema": CHECK_SCHEMA,
            "file": self.source.file,
            "sha256": self.source.sha256,
            "units": self.source.unit,
            "vertices": self.vertices,
            "faces": self.faces,
            "extent_mm": list(self.extent_mm),
            "shells": self.shells,
            "boundary_loops": self.boundary_loops,
            "findings": [finding.to_json() for finding in self.findings],
            "holes": [hole.to_json() for hole in self.holes],
            "noise_sigma_mm": self.noise_sigma_mm,
            "likely_unit": self.likely_unit.unit,
            "likely_unit_reason": self.likely_unit.reason,
            "triangle_quality": self.shapes.to_json(),
            "noise_unknown": self.noise_unknown,
        }
