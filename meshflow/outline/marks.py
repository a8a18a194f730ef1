"""The marks that tell the maker what a piece is and how it lies: name, "this face up", grain arrow.

Marks are strokes, never live text, and lie inside the part with a clear edge round them. The name is as high as there
is room for, from 10 mm down to 2 mm; below that it cannot be read off the bench and is left out with a note.

A grain arrow has one head where the pattern says a direction, two where the material only has an axis.
"""

from __future__ import annotations

from functools import partial, reduce

import numpy as np

from meshflow.geometry.lettering import strokes, text_width
from meshflow.geometry.polygons import Area
from meshflow.model.curve import Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.part import Mark
from meshflow.outline.room import LEVEL, Block, Room

__all__ = ["CLEARANCE_MM", "dressing"]

CLEARANCE_MM = 1.0
_WORDINGS = (("THIS FACE UP",), ("THIS", "FACE", "UP"))  # on one line, or where that is too long on three
_CAPS_MM = (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0)
_LEAST_CAP_MM = 2.0
_ARROWS_MM = (60.0, 40.0, 30.0, 20.0, 15.0, 10.0)
_SMALLER = 0.7


def dressing(area: Area, label: str, *, grain: bool, directed: bool) -> tuple[list[Mark], list[Finding]]:
    """Return name, "this face up" and grain arrow, placed where they fit.

    Parameters
    ----------
    area : shapely geometry
        Where marks may lie [mm].
    label : str
        The name to mark; empty for none.
    grain : bool
        Whether to draw a grain arrow (along x).
    directed : bool
        Whether the grain has a direction, not only an axis.

    Returns
    -------
    marks : list of Mark
        On MARK_TEXT and MARK_LINE.
    notes : list of Finding
        D102, D107, D108 for what did not fit.

    Raises
    ------
    OptionError
        If the label holds a character that cannot be marked.
    """
    text_width(label, cap_height=_LEAST_CAP_MM)  # refuse a bad label even where there is no room for it
    room = Room(area, clearance=CLEARANCE_MM)
    caps = [cap for cap in _CAPS_MM if cap <= max(0.5 * room.depth, _LEAST_CAP_MM)]
    notes: list[Finding] = []
    marks: list[Mark] = []
    for words in _WORDINGS if label else ():
        marks = marks or room.place(caps, partial(_name_and_face, label, words))
    if not marks:
        marks, notes = _one_by_one(room, caps, label)
    if grain:
        arrow = room.place(_ARROWS_MM, partial(_arrow, directed), turns=LEVEL)
        marks += arrow
        if not arrow:
            notes.append(_left_out("D108", Severity.WARNING, "the grain arrow", "Grain lies along x in the drawing."))
    return marks, notes


def _one_by_one(room: Room, caps: list[float], label: str) -> tuple[list[Mark], list[Finding]]:
    """Place name and face mark apart, where they have no room together."""
    notes = []
    name = room.place(caps, partial(_name, label)) if label else []
    if label and not name:
        notes.append(_left_out("D102", Severity.NOTE, f'the name "{label}"', "Write it on by hand."))
    face: list[Mark] = []
    for words in _WORDINGS:
        face = face or room.place(caps, partial(_face_up, words))
    if not face:
        notes.append(_left_out("D107", Severity.WARNING, '"this face up"', "Mark the face that is up by hand."))
    return name + face, notes


def _left_out(code: str, severity: Severity, what: str, remedy: str) -> Finding:
    return Finding(code, severity, f"{what} has no room on the part and is left out.", remedy)


def _name_and_face(label: str, words: tuple[str, ...], cap: float) -> Block:
    return _stacked(_name(label, cap), _face_up(words, cap))


def _name(label: str, cap: float) -> Block:
    return _line(label, cap, "name")


def _line(text: str, cap: float, purpose: str) -> Block:
    marks = tuple(Mark(Layer.MARK_TEXT, line, purpose) for line in strokes(text, cap_height=cap))
    return Block(marks, text_width(text, cap_height=cap), cap)


def _face_up(words: tuple[str, ...], cap: float) -> Block:
    """Return the words, line under line, with a small triangle before the last that points up the page."""
    size = max(_LEAST_CAP_MM, _SMALLER * cap)
    lines = [_line(text, size, "face_up") for text in words]
    triangle = _run((0.0, 0.0), (0.5 * size, size), (size, 0.0), closed=True)
    last = lines[-1].moved(1.5 * size, 0.0)
    signed = Block((Mark(Layer.MARK_LINE, triangle, "face_up"), *last), 1.5 * size + lines[-1].width, size)
    return reduce(_stacked, [*lines[:-1], signed])


def _stacked(upper: Block, lower: Block) -> Block:
    """Put one block over another, both to the left."""
    gap = 0.8 * min(upper.height, lower.height)
    height = upper.height + gap + lower.height
    marks = (*upper.moved(0.0, lower.height + gap), *lower.marks)
    return Block(marks, max(upper.width, lower.width), height)


def _arrow(directed: bool, size: float) -> Block:
    """Return a shaft along x with a head at its right end, or at both."""
    head = min(3.0, 0.2 * size)
    middle = 0.5 * head
    shaft = _run((0.0, middle), (size, middle))
    right = _run((size - head, head), (size, middle), (size - head, 0.0))
    left = _run((head, head), (0.0, middle), (head, 0.0))
    lines = (shaft, right) if directed else (shaft, right, left)
    return Block(tuple(Mark(Layer.MARK_LINE, line, "grain") for line in lines), size, head)


def _run(*points: tuple[float, float], closed: bool = False) -> Polycurve:
    return Polycurve(np.array(points), closed=closed)
