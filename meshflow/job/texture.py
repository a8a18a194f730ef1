"""The colours of a scan, laid flat with the pattern: a picture at true size to trace ornament from.

Terms: the *texture* of a scan is a picture that its faces look into; without one the colours of its vertices, or of
its faces, are taken. Each pixel of the flat picture finds its face of the pattern, by that its place on the scan, and
by that its colour; what lies off the pattern is left clear.

Convention: the picture lies in the coordinates of the part's drawing and is seen with its `face_up` face up, as the
drawing is.

Source: the map from the flat to the scan is that of `meshflow.flatten.roundtrip`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np

from meshflow.drawing.underlay import MOST_PIXELS, Underlay, pixel_mm, read_picture
from meshflow.errors import MeshFileError, OptionError
from meshflow.flatten.roundtrip import PatternMap
from meshflow.geometry.raster import coarser, sampled
from meshflow.geometry.transforms import inverse, move_points
from meshflow.mesh.picture import texture_picture
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.part import Part
from meshflow.model.surface import Surface

__all__ = ["flat_texture"]

_CHUNK: Final = 250_000  # pixels at once: bounds the memory
# From faces of the scan and weights in them to red, green, blue, opacity.
_Colours: TypeAlias = Callable[[IntArray, FloatArray], FloatArray]


def flat_texture(part: Part, scan: Surface, mesh: Path, *, dpi: float) -> Underlay:
    """Return the colours of the scan under a part's drawing.

    Parameters
    ----------
    part : Part
        The part; its pattern was laid flat from this scan.
    scan : Surface
        The scan that its region was picked from, mended as there.
    mesh : Path
        Its file, beside which a picture is looked for.
    dpi : float
        Pixels to an inch, 10 to 2400.

    Returns
    -------
    Underlay
        At true size, clear off the pattern.

    Raises
    ------
    OptionError
        If the part has no pattern, or the picture would be too large.
    MeshFileError
        If the scan has no colours, or its picture cannot be read.
    """
    if part.pattern is None:
        raise OptionError(f"{part.name} was not laid flat from a scan.", remedy="Take a part that was.")
    side = pixel_mm(dpi)
    region = replace(part.pattern.region, surface=scan)
    pattern = replace(part.pattern, region=region)
    left, bottom, columns, rows = _frame(move_points(pattern.vertices, part.placement_of_pattern), side, part.name)
    flat_to_scan, colours = PatternMap(pattern), _colours(scan, mesh, side)
    back = inverse(part.placement_of_pattern)
    pixels = np.zeros((rows * columns, 4), dtype=np.uint8)
    for start in range(0, len(pixels), _CHUNK):
        number = np.arange(start, min(start + _CHUNK, len(pixels)))
        x = left + (number % columns + 0.5) * side
        y = bottom + (rows - number // columns - 0.5) * side
        there = flat_to_scan.to_surface(move_points(np.stack([x, y], axis=1), back))
        on = there.inside
        found = colours(there.scan_face[on], there.scan_barycentric[on])
        pixels[number[on]] = np.rint(np.nan_to_num(found, nan=0.0)).clip(0, 255)
    return Underlay(pixels.reshape(rows, columns, 4), left, bottom, side)


def _frame(points: FloatArray, side: float, name: str) -> tuple[float, float, int, int]:
    """Return lower left corner, columns and rows of the pixels that cover points; corners lie on whole pixels."""
    low = np.floor(points.min(axis=0) / side)
    count = np.ceil(points.max(axis=0) / side) - low
    if count.prod() > MOST_PIXELS:
        raise OptionError(
            f"the picture would have {count[0]:.0f} x {count[1]:.0f} pixels.",
            where=name,
            remedy="Ask for fewer dots per inch.",
        )
    corner = low * side
    return float(corner[0]), float(corner[1]), max(1, int(count[0])), max(1, int(count[1]))


def _colours(scan: Surface, mesh: Path, side: float) -> _Colours:
    """Return what gives places of the scan their colours: its picture, else those of vertices, else of faces."""
    data, name = texture_picture(mesh, scan)
    if data and scan.texture_uv is not None:
        return _from_picture(scan, read_picture(data, where=name), side)
    if scan.vertex_colours is not None:
        corners = scan.vertex_colours[scan.faces].astype(np.float64)
        return lambda face, weights: np.asarray(np.einsum("ki,kic->kc", weights, corners[face]))
    if scan.face_colours is not None:
        table = scan.face_colours.astype(np.float64)
        return lambda face, weights: table[face]
    raise MeshFileError(
        "the scan has no colours: no texture in one picture, none of vertices or faces.",
        where=mesh.name,
        remedy="Export it with its texture or with colours, or leave the flat picture out.",
    )


def _from_picture(scan: Surface, picture: UInt8Array, side: float) -> _Colours:
    assert scan.texture_uv is not None
    # Places count rightwards and upwards from the lower left corner; pixels downwards from the upper one.
    size = np.array([picture.shape[1], picture.shape[0]])
    places = np.stack([scan.texture_uv[..., 0], 1.0 - scan.texture_uv[..., 1]], axis=2) * size
    factor = max(1, int(_pixels_per_mm(scan, places) * side))
    small = coarser(picture, factor)

    def colours(face: IntArray, weights: FloatArray) -> FloatArray:
        spots = np.einsum("ki,kid->kd", weights, places[face])
        outside = (spots < 0.0) | (spots > size)  # a picture is repeated like wall-paper
        return sampled(small, np.where(outside, np.mod(spots, size), spots) / factor)

    return colours


def _pixels_per_mm(scan: Surface, places: FloatArray) -> float:
    """Return how many pixels of the picture lie on a millimetre of the scan, by the median of its edges."""
    corners = scan.vertices[scan.faces]
    formed = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    looked = np.linalg.norm(np.roll(places, -1, axis=1) - places, axis=2)
    known = np.isfinite(looked) & (formed > 0.0)
    return float(np.median(looked[known] / formed[known])) if known.any() else 0.0
