"""The files of a tool: solids for the mill or printer, drawings for plates, and the figures.

Written into one folder::

    tool.json                    figures, findings, cautions
    NAME-SOLID.stl .3mf          each solid; 3MF carries the unit
    NAME-DRAWING.dxf .svg        each drawing
    NAME-view.png                the solids in light
    NAME-strain.png              how thin the sheet gets, where it is struck
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from meshflow.errors import InputError
from meshflow.job.folder import Published, draft_in, prepare_folder, publish
from meshflow.job.outputs import json_text, write_drawing, write_text
from meshflow.model.surface import Source, Surface
from meshflow.model.tool import Solid, Tool

__all__ = ["publish_tool", "solid_surface", "write_tool"]


def write_tool(tool: Tool, draft: Path, *, versions: Sequence[str] = ("R2010",)) -> None:
    """Write the files of a tool into a draft folder.

    Raises
    ------
    InputError
        If a solid is not closed: no shop could use it.
    """
    from meshflow.mesh.write import write_mesh
    from meshflow.report.solid_view import solids_png

    draft.mkdir(parents=True, exist_ok=True)
    for solid in tool.solids:
        surface = solid_surface(solid)
        for ending in ("stl", "3mf"):
            write_mesh(surface, draft / f"{tool.name}-{solid.name}.{ending}")
    if tool.solids:
        solids_png(tool.name, tool.solids, draft / f"{tool.name}-view.png")
    if tool.strike is not None:
        from meshflow.report.strike_view import strike_png

        strike_png(tool.name, tool.strike, draft / f"{tool.name}-strain.png")
    for drawing in tool.drawings:
        write_drawing(drawing, draft / f"{tool.name}-{drawing.name}", versions)
    write_text(draft / "tool.json", json_text({"schema": "meshflow-tool-1", **tool.to_json()}))


def publish_tool(
    tool: Tool, out: str | Path, *, versions: Sequence[str] = ("R2010",), inputs: Iterable[str | Path] = ()
) -> Published:
    """Write the files of a tool into a folder; all of them or none.

    Parameters
    ----------
    tool : Tool
        The tool.
    out : path-like
        The folder; made if it is not there.
    versions : sequence of str
        Versions of the DXF.
    inputs : iterable of path-like
        Files that were read: none of them is written over.

    Returns
    -------
    Published
        The files.
    """
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        write_tool(tool, draft, versions=versions)
        return Published(publish(draft, folder, inputs=inputs, last="tool.json"))


def solid_surface(solid: Solid) -> Surface:
    """Return a solid as a surface to write; InputError if an edge of it has not exactly two faces, one each way."""
    ends = np.concatenate([solid.faces[:, [0, 1]], solid.faces[:, [1, 2]], solid.faces[:, [2, 0]]])
    count = len(solid.vertices)
    there, back = ends[:, 0] * count + ends[:, 1], ends[:, 1] * count + ends[:, 0]
    there.sort()
    back.sort()
    if len(there) == 0 or not np.array_equal(there, back) or (np.diff(there) == 0).any():
        raise InputError("this solid is not closed.", where=solid.name, remedy="Report it: meshflow made it.")
    return Surface(vertices=solid.vertices, faces=solid.faces, source=Source(file=f"{solid.name}.stl"))
