"""What a check says: one coded sentence, where it is, and what to do about it.

Codes are stable and sorted by ranges: ``M1xx`` structure of a mesh, ``M2xx`` its geometry, ``M3xx`` scan dirt,
``A1xx`` scans laid beside each other, ``R1xx`` the picked region, ``E1xx`` relief, ``F1xx`` flattening,
``T1xx`` and ``T2xx`` tools, ``D1xx`` fitness for cutting,
``D2xx`` reading a drawing, ``N1xx`` nesting, ``J1xx`` the job.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

__all__ = ["Finding", "Severity"]


class Severity(StrEnum):
    """How much a finding matters: a note, a warning, or a refusal."""

    NOTE = "note"
    WARNING = "warning"
    REFUSE = "refuse"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing a check found.

    Parameters
    ----------
    code : str
        Stable code, such as ``M105``.
    severity : Severity
        Note, warning or refusal.
    text : str
        What was found, in words of the trade.
    remedy : str
        What the user can do; empty when nothing is needed.
    count : int
        How many of them.
    faces : tuple of int
        Face ids of the surface as read (at most the first thousand are kept in reports).
    where : str
        File or part it belongs to.
    at_mm : (float, float, float), optional
        Where on the piece the worst of them is [mm].
    places_mm : tuple of (float, float)
        Where in the drawing they are, the worst first (at most the first thousand are kept); for findings on a drawing.
    """

    code: str
    severity: Severity
    text: str
    remedy: str = ""
    count: int = 1
    faces: tuple[int, ...] = field(default=())
    where: str = ""
    at_mm: tuple[float, float, float] | None = None
    places_mm: tuple[tuple[float, float], ...] = field(default=())

    def to_json(self) -> dict[str, Any]:
        """Return the finding as plain data, in the key order of the contract."""
        return {
            "code": self.code,
            "severity": str(self.severity),
            "count": self.count,
            "faces": list(self.faces[:1000]),
            "text": self.text,
            "remedy": self.remedy,
            "at_mm": None if self.at_mm is None else list(self.at_mm),
            **({"places_mm": [list(place) for place in self.places_mm]} if self.places_mm else {}),
        }
