"""What a drawing file draws, in its own numbers: runs of lines, arcs, Bezier curves, parts of ellipses and splines.

Convention: points are complex numbers x + iy in the units of the file, in the frame of their block or group.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

from meshflow.geometry.biarcs import Smooth

__all__ = ["Arc", "Bezier", "Free", "Line", "Run", "Segment", "Sweep"]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line to `end`."""

    end: complex


@dataclass(frozen=True, slots=True)
class Bezier:
    """A Bezier curve with one or two handles.

    Parameters
    ----------
    handles : tuple of complex
        One (quadratic) or two (cubic) control points.
    end : complex
        Where it ends.
    """

    handles: tuple[complex, ...]
    end: complex


@dataclass(frozen=True, slots=True)
class Sweep:
    """A part of an ellipse: ``centre + u cos t + v sin t``.

    Parameters
    ----------
    centre, u, v : complex
        Centre and conjugate radii.
    first, turn : float
        Where t starts and how far it goes [rad].
    end : complex
        Where it ends, exactly as written.
    """

    centre: complex
    u: complex
    v: complex
    first: float
    turn: float
    end: complex


@dataclass(frozen=True, slots=True)
class Arc:
    """An arc of a circle to `end`.

    Parameters
    ----------
    end : complex
        Where it ends.
    bulge : float
        Tangent of a quarter of its sweep, positive counter-clockwise where y points up; 0 for a line.
    """

    end: complex
    bulge: float


@dataclass(frozen=True, slots=True)
class Free:
    """A curve that is none of the others, such as a spline.

    Parameters
    ----------
    stretches : tuple of Smooth
        Its stretches without corners.
    end : complex
        Where it ends.
    kind : str
        What it is called in its file.
    """

    stretches: tuple[Smooth, ...]
    end: complex
    kind: str


Segment: TypeAlias = Line | Arc | Bezier | Sweep | Free


@dataclass(slots=True)
class Run:
    """One unbroken stretch of a path.

    Parameters
    ----------
    start : complex
        Where it starts.
    segments : list of Line, Arc, Bezier, Sweep or Free
        Each from the end of the one before.
    closed : bool
        Whether it was closed on purpose.
    """

    start: complex
    segments: list[Segment] = field(default_factory=list)
    closed: bool = False

    @property
    def end(self) -> complex:
        """Where it ends so far."""
        return self.segments[-1].end if self.segments else self.start
