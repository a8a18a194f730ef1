"""A drawing file on paper at true size, without a job file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from meshflow.job.plan import PaperName
from meshflow.job.target import check_target
from meshflow.model.finding import Finding

__all__ = ["paper_file"]


def paper_file(
    path: str | Path,
    *,
    out: str | Path,
    paper: PaperName = "A4",
    overlap_mm: float = 10.0,
    printed_bars: Sequence[tuple[float, float]] = (),
    units: str | None = None,
) -> tuple[Path, tuple[Finding, ...]]:
    """Write a DXF or SVG drawing as a PDF at true size.

    Parameters
    ----------
    path : path-like
        The drawing.
    out : path-like
        File to write, ending in ``.pdf``.
    paper, overlap_mm, printed_bars
        See `meshflow.write_pdf`.
    units : str, optional
        Unit of a drawing that does not say.

    Returns
    -------
    written : Path
        The PDF.
    notes : tuple of Finding
        What reading the drawing had to say.

    Raises
    ------
    MeshflowError
        If the drawing, the paper, a reading or the target is no good.
    """
    from meshflow.drawing import read_drawing, write_pdf

    target = check_target(out, inputs=[path], endings=(".pdf",))
    drawing, notes = read_drawing(path, units=units)
    return write_pdf(drawing, target, paper=paper, overlap_mm=overlap_mm, printed_bars=printed_bars), notes
