"""How much of a piece was measured, and how much is a guess or a mirror image."""

from __future__ import annotations

import numpy as np

from meshflow.geometry.triangles import face_areas
from meshflow.model.finding import Finding, Severity
from meshflow.model.surface import Evidence, evidence_words
from meshflow.regions.piece import Piece

__all__ = ["unmeasured_shares"]


def unmeasured_shares(piece: Piece) -> tuple[float, float, tuple[Finding, ...]]:
    """Return the shares of a piece that are not measured.

    Parameters
    ----------
    piece : Piece
        The piece, each face with its face of the scan.

    Returns
    -------
    conjectured, mirrored : float
        Shares of its area, 0 to 1.
    notes : tuple of Finding
        R108 from a thousandth of the area on; a closed pin hole alone is not worth a line in the document.
    """
    evidence = np.asarray(piece.surface.evidence)[piece.face_parent]
    area = face_areas(piece.vertices, piece.faces)
    total = float(area.sum()) or 1.0
    conjectured, mirrored = (
        float(area[evidence == kind].sum()) / total for kind in (Evidence.CONJECTURED, Evidence.MIRRORED)
    )
    text = evidence_words(conjectured, mirrored)
    if not text:
        return conjectured, mirrored, ()
    faces = np.unique(piece.face_parent[evidence != Evidence.MEASURED])
    remedy = "Hold the pattern against the piece there before cutting."
    return conjectured, mirrored, (Finding("R108", Severity.NOTE, text, remedy, len(faces), tuple(faces.tolist())),)
