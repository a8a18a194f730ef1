"""Binary STL: facets alone, in single precision. See `meshflow.mesh.formats.stl` for the layout."""

from __future__ import annotations

import numpy as np

from meshflow.errors import InputError
from meshflow.geometry.triangles import face_normals
from meshflow.mesh.formats.contents import single_step
from meshflow.model.surface import Surface

__all__ = ["stl_bytes"]

_HEADER = b"binary STL by meshflow, lengths in millimetres"  # must not begin with the word of the text form
_FACET = np.dtype([("normal", "<f4", (3,)), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
_COARSE = 2e-5  # of the size of the piece: what rounding to single precision may cost


def stl_bytes(surface: Surface) -> bytes:
    """Return a surface as binary STL.

    Parameters
    ----------
    surface : Surface
        The surface, sound.

    Returns
    -------
    bytes
        The file.

    Raises
    ------
    InputError
        If the piece lies so far from the origin that single precision would make it rough.
    """
    size = max(surface.extent_mm)
    step = single_step(surface.vertices, surface.faces)
    if step > _COARSE * size and size > 0:
        raise InputError(
            f"STL stores single precision, which moves in steps of {step:.3g} mm this far from the origin.",
            remedy="Move the piece to the origin, or write PLY or 3MF.",
        )
    facets = np.zeros(len(surface.faces), dtype=_FACET)
    with np.errstate(all="ignore"):
        facets["normal"] = np.nan_to_num(face_normals(surface.vertices, surface.faces), posinf=0.0, neginf=0.0)
        facets["corner"] = surface.vertices[surface.faces]
    if not np.isfinite(facets["corner"]).all():
        raise InputError("a coordinate is greater than STL can store.", remedy="See whether the unit is right.")
    return _HEADER.ljust(80) + len(facets).to_bytes(4, "little") + facets.tobytes()
