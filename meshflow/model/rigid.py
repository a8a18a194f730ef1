"""Moving a piece in space without bending it, and planes: of symmetry, of a section.

Convention: a motion turns about the origin first and moves then, ``x -> R x + t``; it never turns a left piece into a
right one. A plane holds the points with ``normal . x = offset_mm``; its *front* is the side the normal points to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.errors import OptionError
from meshflow.model.arrays import FloatArray, frozen

__all__ = ["Plane", "RigidMotion"]

_RIGID = 1e-6  # how far a matrix may be from a turn: six digits, as people write them


@dataclass(frozen=True, eq=False)
class RigidMotion:
    """A turn and a move: ``x -> rotation @ x + shift``.

    Parameters
    ----------
    rotation : (3, 3) float array, optional
        The turn, determinant +1; none when left out.
    shift : (3,) float array, optional
        The move after it [mm]; none when left out.

    Raises
    ------
    OptionError
        If the matrix bends, scales or mirrors.
    """

    rotation: FloatArray | None = None
    shift: FloatArray | None = None

    def __post_init__(self) -> None:
        turn = frozen(np.eye(3) if self.rotation is None else self.rotation, np.float64, columns=3)
        shift = frozen(np.zeros(3) if self.shift is None else self.shift, np.float64)
        object.__setattr__(self, "rotation", turn)
        object.__setattr__(self, "shift", shift)
        fits = turn.shape == (3, 3) and shift.shape == (3,) and np.isfinite(turn).all() and np.isfinite(shift).all()
        if not fits or np.abs(turn @ turn.T - np.eye(3)).max() > _RIGID or np.linalg.det(turn) < 0:
            raise OptionError(
                "this motion is not rigid: it bends, scales or mirrors.", remedy="Give a turn with determinant +1."
            )

    def to_json(self) -> dict[str, Any]:
        """Return the motion as plain data: the rows of the turn, and the move [mm]."""
        return {"rotation": np.asarray(self.rotation).tolist(), "shift_mm": np.asarray(self.shift).tolist()}


@dataclass(frozen=True, eq=False)
class Plane:
    """A plane, by its normal and its distance from the origin.

    Parameters
    ----------
    normal : (3,) float array
        Its direction; made a unit vector here.
    offset_mm : float
        ``normal . x`` of its points, with the unit normal [mm].

    Raises
    ------
    OptionError
        If the normal has no direction.
    """

    normal: FloatArray
    offset_mm: float = 0.0

    def __post_init__(self) -> None:
        normal = np.asarray(self.normal, dtype=np.float64)
        length = float(np.linalg.norm(normal)) if normal.shape == (3,) else float("nan")
        if not (np.isfinite(length) and length > 0 and np.isfinite(self.offset_mm)):
            raise OptionError("this plane has no direction.", remedy="Give a normal such as 1,0,0 and a finite offset.")
        object.__setattr__(self, "normal", frozen(normal / length, np.float64))
        object.__setattr__(self, "offset_mm", float(self.offset_mm))

    def heights(self, points: FloatArray) -> FloatArray:
        """Return how far points, shape (n, 3), lie before the plane (negative behind it), shape (n,) [mm]."""
        return np.asarray(points @ self.normal - self.offset_mm)

    def to_json(self) -> dict[str, Any]:
        """Return the plane as plain data."""
        return {"normal": self.normal.tolist(), "offset_mm": self.offset_mm}

    def __str__(self) -> str:
        """Return the plane as the maker writes it: ``nx,ny,nz,d``."""
        return ",".join(f"{number:.6g}" for number in (*(np.round(self.normal, 6) + 0.0), self.offset_mm + 0.0))
