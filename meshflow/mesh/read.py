"""Reading: a scan or a modelled surface from a file, in millimetres.

What the maker calls it: opening the scan. The surface comes as the file holds it: nothing is welded, turned or
closed here, so that the check sees what the maker was given. Only three things change: lengths become millimetres,
polygons become triangles (`face_origin` remembers which), and facets whose coordinates are no usable numbers are
dropped with a note (M101).

Terms: the *unit* of the numbers comes from the file (3MF, glTF and GLB state one) or from the maker; it is never
guessed. A *face set* is a named group of faces, see `meshflow.model.surface`.

Method: own readers, from the published definitions of the formats; counts are held against the size of the file
before anything is allocated, and no other file is opened but a plain neighbour that a glTF file names.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import numpy as np

from meshflow.errors import MeshFileError, MeshflowError, UnitError
from meshflow.mesh.formats.contents import FileMesh, counted, note, ranges
from meshflow.mesh.formats.detect import detect
from meshflow.mesh.formats.gltf import read_glb, read_gltf
from meshflow.mesh.formats.obj import read_obj
from meshflow.mesh.formats.off import read_off
from meshflow.mesh.formats.ply import read_ply
from meshflow.mesh.formats.polygons import Triangulation, triangulate
from meshflow.mesh.formats.stl import read_stl
from meshflow.mesh.formats.threemf import read_3mf
from meshflow.mesh.likely_unit import unit_hint
from meshflow.model.arrays import BoolArray, FloatArray, IntArray
from meshflow.model.finding import Finding
from meshflow.model.surface import Source, Surface
from meshflow.units import MILLIMETRES_PER, unit_scale

__all__ = ["read_mesh"]

MOST_BYTES = 2 << 30
_READERS: dict[str, Callable[[bytes, Path], FileMesh]] = {
    "stl": read_stl,
    "obj": read_obj,
    "ply": read_ply,
    "off": read_off,
    "gltf": read_gltf,
    "glb": read_glb,
    "3mf": read_3mf,
}
_USABLE_MM = 1e12  # beyond a million kilometres: a "no data" mark or damage, and its square would drown the rest
_COARSE = 2e-5  # step of single precision over the size of the piece from which M105 is said: 0.02 mm on a metre


def read_mesh(path: str | Path, *, units: str | None = None) -> Surface:
    r"""Read a mesh file.

    Parameters
    ----------
    path : str or Path
        STL (binary or text), OBJ, PLY, OFF, glTF, GLB or 3MF.
    units : str, optional
        Unit of the numbers in the file: ``mm``, ``cm``, ``m``, ``in`` ... Needed for STL, OBJ, PLY and OFF, which
        carry none; for the others it must agree with the file.

    Returns
    -------
    Surface
        Triangles in millimetres, wound and indexed as in the file, with its groups, materials, labels and colours.

    Raises
    ------
    MeshFileError
        If the file is missing, damaged, cut short, holds no faces, or is not a mesh.
    UnitError
        If the unit is missing, unknown, or not the one the file states.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "sign.obj")
    ...     _ = path.write_text("v 0 0 0\nv 4 0 0\nv 4 3 0\nv 0 3 0\nf 1 2 3 4\n")
    ...     surface = read_mesh(path, units="cm")
    >>> len(surface.faces), surface.extent_mm
    (2, (40.0, 30.0, 0.0))
    """
    path = Path(path)
    try:
        return _read(path, units)
    except MeshflowError as error:
        error.located(path.name)
        raise


def _read(path: Path, units: str | None) -> Surface:
    asked = None if units is None else unit_scale(units)
    data = _bytes_of(path)
    kind = detect(data, path.suffix)
    mesh = _READERS[kind](data, path.parent)
    digest = hashlib.sha256(data).hexdigest()
    del data  # as large as what was read from it
    if len(mesh.counts) == 0:
        raise _no_faces(mesh)
    cut = triangulate(mesh.vertices, mesh.corners, mesh.counts)
    scale, unit_from = _unit(mesh, cut.faces, asked, kind)
    unit = next(name for name, size in MILLIMETRES_PER.items() if size == scale)
    return _surface(mesh, cut, scale, Source(path.name, digest, kind, unit, unit_from))


def _bytes_of(path: Path) -> bytes:
    try:
        if not path.exists():
            raise MeshFileError("there is no such file.", remedy="Check the path.")
        if not path.is_file():
            raise MeshFileError("this is not a file.", remedy="Give the mesh file itself.")
        if (size := path.stat().st_size) > MOST_BYTES:
            limit = f"{MOST_BYTES >> 30} GB"
            raise MeshFileError(f"the file has {size} bytes; {limit} is the most.", remedy="Thin the scan out first.")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, MeshflowError):
            raise
        raise MeshFileError(f"the file cannot be opened ({error}).", remedy="Check the path and its rights.") from error


def _no_faces(mesh: FileMesh) -> MeshFileError:
    points = len(mesh.vertices)
    if mesh.instead:
        what = f"no faces; has {mesh.instead}."
    elif points:
        what = f"point cloud: no faces; has {counted(points, 'point')}."
    else:
        what = "no faces, and no points either: there is nothing to work on."
    return MeshFileError(what, remedy="Export a surface mesh with triangles or polygons.")


def _unit(mesh: FileMesh, faces: IntArray, asked: float | None, kind: str) -> tuple[float, Literal["file", "user"]]:
    """Millimetres per unit of the file, and who said so."""
    if mesh.unit is None:
        if asked is None:
            size = _size(mesh.vertices, faces)
            hint = unit_hint(max(size, default=0.0))
            raise UnitError(
                f"no unit given, and {kind.upper()} carries none. The bounding box is {_box(size)}. {hint}".rstrip(),
                remedy="Say --units mm, cm, m or in.",
            )
        return asked, "user"
    stated = unit_scale(mesh.unit)
    if asked is not None and asked != stated:
        said = next(name for name, size in MILLIMETRES_PER.items() if size == asked)
        raise UnitError(
            f"the file states its unit, {mesh.unit}, but {said} was asked for.",
            remedy="Leave the units out, or correct the file if it is wrong.",
        )
    return stated, "file"


def _size(vertices: FloatArray, faces: IntArray) -> list[float]:
    """Sides of the box of the finite points that faces use, in units of the file; none when there are no points."""
    used = _used(vertices, faces)
    used = used[np.isfinite(used).all(axis=1)]
    if len(used) == 0:
        return []
    with np.errstate(over="ignore"):
        return [float(side) for side in used.max(axis=0) - used.min(axis=0)]


def _box(size: list[float]) -> str:
    return " x ".join(f"{side:.6g}" if side >= 1000 else f"{side:.3g}" for side in size) or "empty"


def _used(vertices: FloatArray, faces: IntArray) -> FloatArray:
    hit = np.zeros(len(vertices), dtype=np.bool_)
    hit[faces.reshape(-1)] = True
    return vertices if hit.all() else vertices[hit]


def _surface(mesh: FileMesh, cut: Triangulation, scale: float, source: Source) -> Surface:
    vertices, faces, origin = mesh.vertices, cut.faces, cut.origin
    if scale != 1.0:
        with np.errstate(over="ignore", invalid="ignore"):
            vertices = vertices * scale
    within = (vertices < _USABLE_MM) & (vertices > -_USABLE_MM)  # False for what is not finite as well
    good: BoolArray = np.asarray(within.all(axis=1))
    keep = np.ones(len(faces), dtype=np.bool_)
    if not good.all():
        keep = _whole_polygons(np.asarray(good[faces].all(axis=1)), origin)
        vertices, faces, origin = vertices[good], (np.cumsum(good) - 1)[faces[keep]], origin[keep]
    if len(faces) == 0:
        reason = _dropped_text(keep, cut.origin) if len(keep) else "every polygon has fewer than three corners"
        raise MeshFileError(f"no usable face: {reason}.", remedy="Export the mesh again.")
    notes = [*mesh.notes, *_polygon_notes(cut, keep)]
    if not keep.all():
        text = f"{_dropped_text(keep, cut.origin)}, dropped."
        count = len(np.unique(cut.origin[~keep]))
        notes.append(note("M101", text, warn=True, remedy="Look for holes where they were.", count=count))
    notes += _precision(vertices, faces, mesh.step * scale)
    for array in (vertices, faces, origin):
        array.setflags(write=False)  # ours alone from here on: the surface takes them without a copy
    return Surface(
        vertices,
        faces,
        source=source,
        face_sets=_face_sets(mesh, cut, keep),
        face_colours=None if mesh.polygon_colours is None else mesh.polygon_colours[origin],
        vertex_colours=None if mesh.vertex_colours is None else mesh.vertex_colours[good],
        evidence=None if mesh.evidence is None else mesh.evidence[origin],
        face_origin=origin,
        notes=tuple(notes),
        texture_uv=_texture(mesh.texture, cut, keep),
        texture_file=mesh.texture_file,
    )


def _texture(texture: FloatArray | None, cut: Triangulation, keep: BoolArray) -> FloatArray | None:
    """Places of the corners of the triangles that are left, shape (m, 3, 2)."""
    if texture is None:
        return None
    return (texture.reshape(-1, 3, 2) if cut.slots is None else texture[cut.slots])[keep]


def _whole_polygons(good: BoolArray, origin: IntArray) -> BoolArray:
    """Keep a triangle only if the whole polygon it was cut from is good."""
    if good.all():
        return good
    return np.asarray(~np.isin(origin, origin[~good]))


def _dropped_text(keep: BoolArray, origin: IntArray) -> str:
    count = counted(len(np.unique(origin[~keep])), "facet")
    return f"{count} with coordinates that are no usable numbers (not finite, or beyond a million kilometres)"


def _polygon_notes(cut: Triangulation, keep: BoolArray) -> list[Finding]:
    notes = []
    if count := len(cut.skipped):
        text = f"{counted(count, 'polygon')} with fewer than three corners, skipped."
        notes.append(note("M102", text, count=count))
    if count := len(cut.crossed):
        text = f"{counted(count, 'polygon')} crossing or folded, cut up as they came: the triangles may overlap."
        hit = np.flatnonzero(np.isin(cut.origin[keep], cut.crossed))
        finding = note("M102", text, warn=True, remedy="Look at these faces.", count=count)
        notes.append(Finding(finding.code, finding.severity, text, finding.remedy, count, tuple(hit[:1000].tolist())))
    return notes


def _precision(vertices: FloatArray, faces: IntArray, step: float) -> list[Finding]:
    """M105 where 32-bit coordinates are too coarse for the size of the piece."""
    if step == 0:
        return []
    used = _used(vertices, faces)
    if step <= _COARSE * max(float(np.ptp(used[:, axis])) for axis in range(3)):
        return []
    text = "the coordinates are stored in single precision far from the origin: they move in "
    text += f"steps of {step:.3g} mm."
    return [note("M105", text, warn=True, remedy="Move it to the origin in the program it comes from.")]


def _face_sets(mesh: FileMesh, cut: Triangulation, keep: BoolArray) -> dict[str, IntArray]:
    """Turn sets of polygons into sets of the triangles that are left; empty ones go."""
    if not mesh.sets:
        return {}
    new_face = np.cumsum(keep) - 1
    pieces = np.bincount(cut.origin, minlength=len(mesh.counts))
    first = np.cumsum(pieces) - pieces
    sets = {}
    for name, polygons in mesh.sets.items():
        triangles = ranges(first[polygons], pieces[polygons])
        triangles = triangles[keep[triangles]]
        if len(triangles):
            sets[name] = new_face[triangles]
    return sets
