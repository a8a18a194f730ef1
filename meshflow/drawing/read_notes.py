"""What taking a drawing in has to say: what was joined, left out, read once, or became arcs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Final

from meshflow.drawing.joining import join_contours, without_duplicates
from meshflow.drawing.shapes import CHORD_MM, Shape, Shapes
from meshflow.drawing.sweeps import true_circle
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.finding import Finding, Severity

__all__ = ["GAP_MM", "closed_contours", "notes_on", "say_bridged", "say_doubled"]

GAP_MM: Final = 0.05


def closed_contours(shapes: Sequence[Shape], gap_mm: float, notes: list[Finding]) -> tuple[Polycurve | Circle, ...]:
    """Join shapes to closed contours, each once, circles as circles.

    Parameters
    ----------
    shapes : sequence of Shape
        Curves that are to be cut; dots do not count.
    gap_mm : float
        Widest gap that is bridged [mm].
    notes : list of Finding
        Gets a note for each thing that was mended.

    Returns
    -------
    tuple of Polycurve or Circle
        Closed [mm].

    Raises
    ------
    DrawingFileError
        If one stays open, or pieces meet in a junction.
    """
    curves = [shape.curve for shape in shapes if not isinstance(shape.curve, Dot)]
    once, doubled = without_duplicates(curves)
    joined = join_contours(once, gap_mm=gap_mm)
    say_doubled(doubled, notes)
    say_bridged(joined.largest_gap_mm, notes)
    if joined.dropped:
        text = f"{joined.dropped} fragments shorter than {gap_mm:g} mm were left out."
        notes.append(Finding("D209", Severity.NOTE, text, count=joined.dropped))
    return tuple(true_circle(contour) for contour in joined.contours)


def say_doubled(count: int, notes: list[Finding]) -> None:
    """Note how many curves were drawn twice."""
    if count:
        notes.append(Finding("D204", Severity.WARNING, f"drawn twice, read once: {count}.", count=count))


def say_bridged(largest_mm: float, notes: list[Finding]) -> None:
    """Note the largest gap that was bridged [mm]."""
    if largest_mm > 0.0:
        text = f"ends up to {largest_mm:.4f} mm apart were taken as joined."
        notes.append(Finding("D203", Severity.NOTE, text))


def notes_on(found: Shapes, strays: Mapping[str, int] | None = None) -> list[Finding]:
    """Return what there is to say of all that was not taken as it was drawn.

    Parameters
    ----------
    found : Shapes
        What was found.
    strays : mapping of str to int, optional
        How many curves were not used, by layer.

    Returns
    -------
    list of Finding
        D205 to D208, and D210.
    """
    lines = f"became arcs within {CHORD_MM:g} mm."
    table = (
        ("D205", Severity.NOTE, found.tessellated, lines, "Export lines and arcs for a cleaner cut."),
        ("D206", Severity.NOTE, found.ignored, "left out: no curves to cut.", "Draw text to be marked as outlines."),
        ("D207", Severity.WARNING, found.hidden, "left out, layer or curve is switched off.", "Switch on what is cut."),
        (
            "D210",
            Severity.WARNING,
            found.clipped,
            "shown clipped, read whole.",
            "Cut the shapes themselves, and export again.",
        ),
        (
            "D208",
            Severity.WARNING,
            Counter(strays or {}),
            "left out: points, or curves on a layer that does not say what is done with them.",
            "Move what matters to CUT_OUTSIDE, CUT_INSIDE or a layer of marks.",
        ),
    )
    return [
        Finding(code, severity, f"{_counted(counter)} {text}", remedy, counter.total())
        for code, severity, counter, text, remedy in table
        if counter
    ]


def _counted(counter: Counter[str]) -> str:
    return ", ".join(f"{count} {kind}" for kind, count in sorted(counter.items()))
