"""The opposite hand of a piece: its mirror image, for pairs of left and right.

The maker calls them a pair, left and right hand. A hide is cut from one face, so a pair needs two drawings: turning the
piece over would put its grain side down. A part that is one of a pair may not be turned over at all.

Terms: *as drawn*, the hand that the drawing shows; *opposite*, the other. The name of the opposite hand is that of the
part with ``-opposite`` behind it, and stands on it.

Convention: the mirror runs along the grain, which lies along x in the drawing of a part: y goes to -y, within the box
round the outline. So the grain arrow points the same way on both, and what is turned by an angle *a* as drawn has its
mirror image about the backbone turned by *-a*: where turns are listed, the opposite hand takes their negatives.

Lettering is not mirrored. It is left out and set anew, so that it can be read and says which hand this is.
"""

from __future__ import annotations

import math
from dataclasses import replace

from meshflow.errors import OptionError
from meshflow.geometry.curves import bounds, reversed_curve, transformed
from meshflow.geometry.polygons import material, shrunk, without_curves
from meshflow.geometry.transforms import composed
from meshflow.model.curve import Circle, Curve, Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark, Part
from meshflow.outline.marks import CLEARANCE_MM, dressing

__all__ = ["OPPOSITE", "opposite", "pair"]

OPPOSITE = "-opposite"
_SET_ANEW = ("name", "face_up", "grain")


def pair(part: Part) -> tuple[Part, Part]:
    """Return both hands of a part that is cut in pairs: as drawn, and opposite.

    Parameters
    ----------
    part : Part
        The part; its quantity is that of each hand.

    Returns
    -------
    (Part, Part)
        Neither may be turned over.

    Raises
    ------
    OptionError
        If the part may be turned over: then it needs no pair.
    """
    if part.may_mirror:
        raise OptionError(
            "it is one of a pair and may be turned over as well.",
            where=part.name,
            remedy="Leave out one of the two: a piece that may be turned over is both hands already.",
        )
    return part, opposite(part)


def opposite(part: Part) -> Part:
    """Return the opposite hand of a part: its mirror image about the grain, named, and never to be turned over.

    Parameters
    ----------
    part : Part
        The part as drawn.

    Returns
    -------
    Part
        Named ``NAME-opposite``; D150 in its notes says of what. Contours run as they should; marks are mirrored, except
        for lettering, which is set anew.

    Raises
    ------
    OptionError
        If the name cannot be marked.

    Examples
    --------
    >>> flag = Part("flag", Polycurve([[0, 0], [40, 0], [0, 10]]), turns_deg=(0.0, 30.0))
    >>> other = opposite(flag)
    >>> other.name, other.outline.points.tolist(), other.turns_deg
    ('flag-opposite', [[0.0, 0.0], [40.0, 10.0], [0.0, 10.0]], (0.0, -30.0))
    """
    _, low, _, high = bounds(part.outline)
    mirror = Motion(True, math.pi, 0.0, low + high)  # over x -> -x and half round: y -> -y, moved back into its box
    name = f"{part.name}{OPPOSITE}"
    outline = _contour(part.outline, mirror)
    holes = tuple(_contour(hole, mirror) for hole in part.holes)
    drawn = [mark for mark in part.marks if mark.layer is not Layer.MARK_TEXT and mark.purpose not in _SET_ANEW]
    marks = [replace(mark, curve=_mirrored(mark.curve, mirror)) for mark in drawn]
    lettering, notes = _lettering(part, name, outline, holes, marks)
    said = Finding("D150", Severity.NOTE, f"the opposite hand of {part.name}: its mirror image, the same face up.")
    return replace(
        part,
        name=name,
        outline=outline,
        holes=holes,
        zones=tuple(replace(zone, outline=_contour(zone.outline, mirror)) for zone in part.zones),
        marks=(*lettering, *marks),
        may_mirror=False,
        turns_deg=tuple(0.0 - turn for turn in part.turns_deg),
        grain_deg=None if part.grain_deg is None else 0.0 - part.grain_deg,
        placement_of_pattern=composed(part.placement_of_pattern, mirror),
        notes=tuple(replace(note, where=name) for note in (*_still_true(part), *notes, said)),
    )


def _contour(curve: Polycurve | Circle, mirror: Motion) -> Polycurve | Circle:
    """Return a closed curve mirrored and walked backwards, so that it still runs the right way round."""
    moved = transformed(curve, mirror)
    return moved if isinstance(moved, Circle) else reversed_curve(moved)


def _mirrored(curve: Curve, mirror: Motion) -> Curve:
    return _contour(curve, mirror) if isinstance(curve, Polycurve) and curve.closed else transformed(curve, mirror)


def _still_true(part: Part) -> list[Finding]:
    """Return what was said of the drawing, but for the lettering, which is set anew."""
    return [note for note in part.notes if note.code not in ("D102", "D107", "D108")]


def _lettering(
    part: Part, name: str, outline: Polycurve | Circle, holes: tuple[Polycurve | Circle, ...], marks: list[Mark]
) -> tuple[list[Mark], list[Finding]]:
    """Return name, face mark and grain arrow in the room that the other marks leave, or over them where it must be."""
    if any(note.severity is Severity.REFUSE for note in part.notes):
        return [], []  # it must not be cut, and carries no marks
    grain = any(mark.purpose == "grain" for mark in part.marks)
    directed = part.pattern is not None and part.pattern.grain_rad is not None
    room = shrunk(material(outline, holes), CLEARANCE_MM)
    lettering, notes = dressing(
        without_curves(room, [mark.curve for mark in marks], clearance=CLEARANCE_MM),
        name,
        grain=grain,
        directed=directed,
    )
    if notes:
        over, fewer = dressing(room, name, grain=grain, directed=directed)
        lettering, notes = (over, fewer) if len(fewer) < len(notes) else (lettering, notes)
    return lettering, notes
