"""3MF: a zip package with one object in millimetres, its face sets as triangle sets.

The object is a ``model`` where its faces close a volume, else a ``surface``, which the format lets be open. Evidence is
kept as two triangle sets, see `meshflow.mesh.formats.threemf`. A face with a repeated corner, which the format does
not allow, is left out. Times in the package are fixed. Source: 3MF Consortium, "3D Manufacturing Format Core
Specification" 1.3 and its Triangle Sets extension; ECMA-376 part 2 for the package (MEMORY; tests have it read by an
independent reader).
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator
from xml.sax.saxutils import quoteattr

import numpy as np

from meshflow.errors import InputError
from meshflow.mesh.formats.threemf_xml import CORE, TRIANGLE_SETS
from meshflow.model.arrays import FloatArray, IntArray, UInt8Array
from meshflow.model.surface import Evidence, Surface

__all__ = ["threemf_bytes"]

_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_TYPES = (
    f'{_XML}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_RELATIONS = (
    f'{_XML}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)
_MANY = 20_000  # faces from which compiled loops write the lists; the bytes are the same
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # the first moment a zip file can name


def threemf_bytes(surface: Surface) -> bytes:
    """Return a surface as 3MF.

    Parameters
    ----------
    surface : Surface
        The surface, sound.

    Returns
    -------
    bytes
        The file; the same bytes for the same surface and the same build of zlib.

    Raises
    ------
    InputError
        If every face has a repeated corner.
    """
    a, b, c = surface.faces.T
    keep = (a != b) & (b != c) & (c != a)
    if not keep.any():
        raise InputError("no face has three different corners.", remedy="Weld with a smaller tolerance.")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as package:
        model = b"".join(_model(surface, surface.faces[keep], _sets(surface, np.flatnonzero(keep))))
        parts = (
            ("[Content_Types].xml", _TYPES.encode()),
            ("_rels/.rels", _RELATIONS.encode()),
            ("3D/3dmodel.model", model),
        )
        for name, content in parts:
            entry = zipfile.ZipInfo(name, date_time=_EARLIEST)
            entry.create_system, entry.external_attr = 0, 0
            package.writestr(entry, content, compress_type=zipfile.ZIP_DEFLATED, compresslevel=6)
    return buffer.getvalue()


def _sets(surface: Surface, kept: IntArray) -> dict[str, IntArray]:
    """Named sets of the faces that are kept, by their new numbers; evidence is among them."""
    evidence = np.asarray(surface.evidence)
    sets = dict(surface.face_sets)
    for kind in (Evidence.MIRRORED, Evidence.CONJECTURED):
        sets[f"evidence:{kind.name.lower()}"] = np.flatnonzero(evidence == kind)
    out = {}
    for name, ids in sets.items():
        ids = np.flatnonzero(np.isin(kept, ids))
        if len(ids):
            out[name] = ids
    return out


def _model(surface: Surface, faces: IntArray, sets: dict[str, IntArray]) -> Iterator[bytes]:
    kind = "model" if _closed(faces) else "surface"
    head = f'{_XML}<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}" xmlns:t="{TRIANGLE_SETS}">\n'
    yield f'{head}<resources><object id="1" type="{kind}"><mesh>\n<vertices>\n'.encode()
    yield _vertex_lines(surface.vertices, len(faces) >= _MANY)
    yield b"</vertices>\n<triangles>\n"
    yield _triangle_lines(faces)
    yield b"</triangles>\n"
    yield "".join(_set_lines(sets)).encode()
    yield b'</mesh></object></resources>\n<build><item objectid="1"/></build>\n</model>\n'


def _vertex_lines(vertices: FloatArray, many: bool) -> bytes:
    if many:
        from meshflow.mesh.writers.threemf_kernel import short_decimals, vertex_lines

        values = np.ascontiguousarray(vertices, dtype=np.float64)
        if short_decimals(values):
            return vertex_lines(values, _heads("<vertex x=", " y=", " z=")).tobytes()
    lines = (f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>\n' for x, y, z in vertices.tolist())
    return "".join(lines).encode()


def _triangle_lines(faces: IntArray) -> bytes:
    if len(faces) >= _MANY:
        from meshflow.mesh.writers.threemf_kernel import triangle_lines

        values = np.ascontiguousarray(faces, dtype=np.int64)
        return triangle_lines(values, _heads("<triangle v1=", " v2=", " v3=")).tobytes()
    return "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in faces.tolist()).encode()


def _heads(first: str, second: str, third: str) -> tuple[UInt8Array, UInt8Array, UInt8Array, UInt8Array]:
    one, two, three, end = (
        np.frombuffer(text.encode(), dtype=np.uint8).copy()
        for text in (f'{first}"', f'"{second}"', f'"{third}"', '"/>\n')
    )
    return one, two, three, end


def _set_lines(sets: dict[str, IntArray]) -> Iterator[str]:
    if sets:
        yield "<t:trianglesets>\n"
        for number, (name, ids) in enumerate(sorted(sets.items()), 1):
            yield f'<t:triangleset name={quoteattr(_plain(name))} identifier="set{number}">'
            yield from _references(ids)
            yield "</t:triangleset>\n"
        yield "</t:trianglesets>\n"


def _closed(faces: IntArray) -> bool:
    """Whether every side of a face is also the side of just one other, the other way round."""
    sides = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    wide = int(faces.max()) + 1
    there, back = np.sort(sides @ [wide, 1]), np.sort(sides @ [1, wide])
    return bool((there[1:] > there[:-1]).all() and (there == back).all())


def _references(ids: IntArray) -> Iterator[str]:
    for run in np.split(ids, np.flatnonzero(np.diff(ids) > 1) + 1):
        first, last = int(run[0]), int(run[-1])
        yield f'<t:ref index="{first}"/>' if first == last else f'<t:refrange startindex="{first}" endindex="{last}"/>'


def _plain(name: str) -> str:
    """Return a name without the signs that XML cannot hold."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in name).split())
