"""A photograph of a flat thing, brought to true size: the picture, and lines that were drawn over it.

Two ways round. Write the picture first (``STEM.flat.svg`` holds it at true size), draw over that, and the drawing is
in millimetres at once. Or draw over the photograph as it came and hand the drawing over here: its lines come out in
millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from meshflow.drawing.photo import PhotoMap, flat_picture, rectangle, traced
from meshflow.drawing.underlay import Underlay, pixel_mm, png_bytes, read_picture
from meshflow.errors import DrawingFileError, InputError, MeshflowError, OptionError
from meshflow.geometry.curves import bounds
from meshflow.job.folder import Published, check_folder, draft_in, prepare_folder, publish
from meshflow.job.outputs import write_text
from meshflow.job.single import part_name
from meshflow.model.curve import Circle, Curve, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke
from meshflow.model.finding import Finding

__all__ = ["FlatPhoto", "photo_file", "points_of"]

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, eq=False)
class FlatPhoto:
    """What became of a photograph.

    Parameters
    ----------
    way : PhotoMap
        How it lies on the plane it shows.
    picture : Underlay
        The picture at true size.
    drawing : Drawing, optional
        What was traced, in millimetres.
    notes : tuple of Finding
        What reading the drawing had to say.
    """

    way: PhotoMap
    picture: Underlay
    drawing: Drawing | None = None
    notes: tuple[Finding, ...] = ()


def points_of(text: str) -> tuple[tuple[float, float], ...]:
    """Return the points that a text says: ``x,y`` with blanks between.

    Raises
    ------
    OptionError
        If it says something else.

    Examples
    --------
    >>> points_of("10,20 30.5,40")
    ((10.0, 20.0), (30.5, 40.0))
    """
    found = []
    for word in text.split():
        try:
            x, y = (float(part) for part in word.split(","))
        except ValueError:
            raise OptionError(
                f'"{word}" is no point.', remedy='Write x,y with blanks between: "10,20 300,18".'
            ) from None
        found.append((x, y))
    return tuple(found)


def photo_file(
    path: str | Path,
    *,
    out: str | Path,
    points: Points,
    apart_mm: float | None = None,
    size_mm: tuple[float, float] | None = None,
    places: Points = (),
    dpi: float = 150.0,
    trace: str | Path | None = None,
    trace_width: float | None = None,
) -> tuple[FlatPhoto, Published]:
    """Bring a photograph to true size.

    Parameters
    ----------
    path : path-like
        The photograph.
    out : path-like
        Folder to write to; the stem of `path` names the files.
    points : sequence of (float, float)
        Two points, or four and more [pixels, y down].
    apart_mm : float, optional
        Distance of two points on the thing [mm].
    size_mm : (float, float), optional
        Width and height of the rectangle whose corners the four points are, as one reads [mm].
    places : sequence of (float, float)
        Where the points are on the thing, for any shape [mm, y up].
    dpi : float
        Pixels to an inch of the picture.
    trace : path-like, optional
        Drawing of lines over the photograph, DXF or SVG: one unit of it is a pixel, and its lower left corner that of
        the photograph.
    trace_width : float, optional
        Width of the photograph in the units of the drawing, where it is not one a pixel.

    Returns
    -------
    flat : FlatPhoto
        What came of it.
    published : Published
        STEM.flat.png and STEM.flat.svg, and STEM.trace.dxf and .svg of a drawing.

    Raises
    ------
    MeshflowError
        If the photograph, the points, the drawing or the folder is no good.
    """
    check_folder(Path(out))
    path = Path(path)
    photo = read_picture(_bytes_of(path), where=path.name)
    try:
        way = _way(points, apart_mm, size_mm, places, width=photo.shape[1], height=photo.shape[0])
        picture = flat_picture(photo, way, pixel_mm(dpi))
        drawing, notes = (None, ()) if trace is None else _traced(Path(trace), trace_width, way, path.stem)
    except MeshflowError as error:
        raise error.located(path.name) from error.__cause__
    flat = FlatPhoto(way, picture, drawing, notes)
    folder = prepare_folder(Path(out))
    with draft_in(folder) as draft:
        _write(flat, draft, part_name(path.stem))
        given = [path] if trace is None else [path, trace]
        return flat, Published(publish(draft, folder, inputs=given))


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError(
            f"the photograph cannot be read ({reason}).", where=str(path), remedy="Check its name."
        ) from error


def _way(
    points: Points,
    apart_mm: float | None,
    size_mm: tuple[float, float] | None,
    places: Points,
    *,
    width: int,
    height: int,
) -> PhotoMap:
    said = sum((apart_mm is not None, size_mm is not None, bool(places)))
    if said != 1:
        raise OptionError(
            "the size of the thing is said " + ("more than once." if said else "nowhere."),
            remedy="Say the distance of two points, the size of a rectangle, or the places of the points.",
        )
    if apart_mm is not None:
        if len(points) != 2:
            raise OptionError(f"{len(points)} points and one distance.", remedy="Give two points for a distance.")
        return PhotoMap.scaled(points, apart_mm, width=width, height=height)
    if size_mm is not None and len(points) != 4:
        raise OptionError(f"{len(points)} points for the corners of a rectangle.", remedy="Give four, as one reads.")
    known = rectangle(*size_mm) if size_mm is not None else np.asarray(places, dtype=np.float64)
    return PhotoMap.rectified(points, known, width=width, height=height)


def _traced(trace: Path, trace_width: float | None, way: PhotoMap, name: str) -> tuple[Drawing, tuple[Finding, ...]]:
    """Return the lines of a drawing over the photograph in millimetres of the thing."""
    from meshflow.drawing import read_drawing

    if trace_width is not None and not trace_width > 0.0:
        raise OptionError(f"a width of {trace_width:g}.", remedy="Say how wide the photograph is in the drawing.")
    drawn, notes = read_drawing(trace, units="mm")  # the numbers of the file, whatever they mean there
    scale = way.width / trace_width if trace_width else 1.0
    strokes = tuple(Stroke(one.layer, traced(_in_pixels(one.curve, scale, way.height), way)) for one in drawn.strokes)
    comments = (
        "meshflow drawing file",
        f"Traced over the photograph {part_name(name)}.",
        "Units: millimetres, true size in the plane of the points measured.",
        "Kerf: none in the contours (net size).",
    )
    kept = tuple(note for note in notes if note.code != "D201")  # its unit was not asked for
    drawing = Drawing(f"{part_name(name)}.trace", strokes, bounds(*(stroke.curve for stroke in strokes)), comments)
    _check_covers(drawn, scale, way, trace)
    return drawing, kept


def _check_covers(drawn: Drawing, scale: float, way: PhotoMap, trace: Path) -> None:
    """Raise DrawingFileError if a drawing lies off the photograph: then its units are others than thought."""
    left, bottom, right, top = (scale * value for value in drawn.extents)
    room = 0.02 * max(way.width, way.height)
    if left < -room or bottom < -room or right > way.width + room or top > way.height + room:
        raise DrawingFileError(
            f"the drawing reaches from ({left:.0f}, {bottom:.0f}) to ({right:.0f}, {top:.0f}) pixels, the photograph "
            f"to ({way.width}, {way.height}).",
            where=trace.name,
            remedy="Lay it over the photograph with its lower left corner at the origin, or say how wide it is there.",
        )


def _in_pixels(curve: Curve, scale: float, height: int) -> Curve:
    """Return a curve of the drawing, y up from the lower left corner, in pixels of the photograph, y down."""
    if isinstance(curve, Dot):
        return Dot((curve.position[0] * scale, height - curve.position[1] * scale))
    if isinstance(curve, Circle):
        return Circle((curve.centre[0] * scale, height - curve.centre[1] * scale), curve.radius * scale)
    turned = np.stack([curve.points[:, 0] * scale, height - curve.points[:, 1] * scale], axis=1)
    return Polycurve(turned, 0.0 - np.asarray(curve.bulges), curve.closed)


def _write(flat: FlatPhoto, folder: Path, stem: str) -> None:
    from meshflow.drawing import svg_text, write_dxf

    (folder / f"{stem}.flat.png").write_bytes(png_bytes(flat.picture.pixels, flat.picture.pixel_mm))
    if flat.drawing is not None:
        write_dxf(flat.drawing, folder / f"{stem}.trace.dxf")
        write_text(folder / f"{stem}.trace.svg", svg_text(flat.drawing, underlay=flat.picture))
    write_text(folder / f"{stem}.flat.svg", svg_text(_known_shape(flat.way, stem), underlay=flat.picture))


def _known_shape(way: PhotoMap, stem: str) -> Drawing:
    """Return what was measured as a drawing that is never cut: to check the picture with a rule."""
    shape = Polycurve(way.places, closed=len(way.places) > 2)
    strokes = (Stroke(Layer.ALIGN_MARK, shape),)
    comments = ("meshflow drawing file", "The photograph at true size; the line joins the points measured.")
    return Drawing(f"{stem}.flat", strokes, bounds(shape), comments)
