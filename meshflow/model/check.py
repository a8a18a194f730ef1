"""What `check` hands back: the size of the mesh, and everything found in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Source

__all__ = ["CHECK_SCHEMA", "CheckReport"]

CHECK_SCHEMA: Final = "meshflow-check-1"


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
    """

    source: Source
    vertices: int
    faces: int
    extent_mm: tuple[float, float, float]
    shells: int
    boundary_loops: int
    findings: tuple[Finding, ...] = field(default=())

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
        }
