"""Two mesh files held against each other, without a job file: the first-article check, written down.

Both files are read, mended where that is safe (every step is said), and compared. Written: NAME.compare.json with all
figures; NAME.compare.ply, the piece in the place where it was compared, its vertices coloured by distance (see
`report.distance_view`); NAME.compare.png, two views of it with the key.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.outputs import json_text, write_text
from meshflow.job.scan_file import read_sound_scan
from meshflow.job.single import part_name
from meshflow.job.stages import Progress
from meshflow.model.compare import Comparison
from meshflow.model.surface import Surface
from meshflow.report.distance_view import distance_colours, distance_png, full_tone_mm

__all__ = ["compare_files"]


def compare_files(
    a: str | Path,
    b: str | Path,
    *,
    out: str | Path,
    units: str | None = None,
    fit: bool = False,
    tolerance_mm: float | None = None,
    progress: Progress | None = None,
) -> tuple[Comparison, Published]:
    """Compare the mesh file of a piece with that of what it should be.

    Parameters
    ----------
    a, b : path-like
        The piece, and what it should be.
    out : path-like
        Folder to write to; the stem of `a` names the files.
    units : str, optional
        Unit of files that carry none.
    fit : bool
        Lay the piece on b by best fit first.
    tolerance_mm : float, optional
        Largest distance allowed [mm].
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Returns
    -------
    comparison : Comparison
        ``passed`` says whether the piece is within the tolerance.
    published : Published
        NAME.compare.json, NAME.compare.ply and NAME.compare.png.

    Raises
    ------
    MeshflowError
        If a file, the folder or the tolerance is no good.
    """
    from meshflow.mesh.compare import compare
    from meshflow.mesh.write import mesh_bytes

    report = progress or (lambda what, share: None)
    check_folder(Path(out))
    piece, wanted = read_sound_scan(a, units, report, 0.0), read_sound_scan(b, units, report, 0.3)
    said = tuple(replace(note, where=which) for which, scan in (("a", piece), ("b", wanted)) for note in scan.notes)
    report("fitting and comparing" if fit else "comparing", 0.6)
    answer = compare(piece, wanted, fit=fit, tolerance_mm=tolerance_mm)
    answer = replace(answer, notes=said + answer.notes)
    report("writing", 0.9)
    name, folder = part_name(Path(a).stem), prepare_folder(Path(out))
    with draft_in(folder) as draft:
        write_text(draft / f"{name}.compare.json", json_text(answer.to_json()))
        (draft / f"{name}.compare.ply").write_bytes(mesh_bytes(_coloured(answer), "ply"))
        distance_png(answer, draft / f"{name}.compare.png")
        return answer, Published(publish(draft, folder, inputs=[a, b]))


def _coloured(answer: Comparison) -> Surface:
    """Return the piece coloured by distance; colours of the scan itself would hide the map."""
    distances = answer.a_on_b
    colours = distance_colours(distances.at_vertices, full_tone_mm(answer), distances.vertex_beyond)
    opaque = np.concatenate([colours, np.full((len(colours), 1), 255, np.uint8)], axis=1)
    return replace(answer.moved, vertex_colours=opaque, face_colours=None, texture_uv=None, texture_file=None)
