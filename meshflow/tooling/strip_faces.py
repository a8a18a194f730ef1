"""The faces of a strip tool: one pair over the whole length of the face, offset as one piece, cut off at its ends.

Convention: x runs from the way out, 0, to the flat end where the strip comes in; y = 0 is the middle of the strip.
Heights in mm over the flat strip, towards the face that is seen. `punch` stands back at both ends, see `lift_off`.

Zones are made from one exact repeat, the pair is worked out over more ornament than the face holds, and every repeat of
the face is the same one, so the faces of blows after each other tile.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from meshflow.errors import OptionError
from meshflow.geometry.envelope import slope_of_draft
from meshflow.model.arrays import FloatArray, IntArray
from meshflow.model.relief import Relief
from meshflow.tooling.blend import Lengths, blended_face, lift_off
from meshflow.tooling.faces import Faces, make_faces
from meshflow.tooling.feed import Joint, joint_of
from meshflow.tooling.gap import Gap, measured_gap
from meshflow.tooling.period import Repeat
from meshflow.tooling.punch_options import Chosen

__all__ = ["StripFaces", "rim_height_mm", "strip_faces"]

Report = Callable[[str, float], None]

_ROOM: Final = 8
_LEVEL: Final = 1e-9
_HIGH_RIM: Final = 0.02  # mm
_CHANGED: Final = ("outer", "inner", "wish", "filled", "bite")


@dataclass(frozen=True, eq=False)
class StripFaces:
    """The faces of a strip tool.

    Parameters
    ----------
    pair : Faces
        Die and punch over the whole face, closed, before the punch is set back.
    punch : (rows, columns) float array
        The punch's face as it is cut [mm].
    lengths : Lengths
        Zones, in columns.
    columns : int
        Columns of one repeat.
    room_mm : float
        How far beside the ornament both faces are flat again [mm].
    gap : Gap
        The gap between them.
    joint : Joint
        How well the nominal face tiles.
    """

    pair: Faces
    punch: FloatArray
    lengths: Lengths
    columns: int
    room_mm: float
    gap: Gap
    joint: Joint

    @property
    def length_mm(self) -> float:
        """Length of the face along the feed [mm]."""
        return float(self.pair.x[-1])

    def place_mm(self, column: int) -> float:
        """Return where a column stands [mm]."""
        return column * self.pair.pitch_mm


def strip_faces(
    repeat: Repeat,
    lengths: Lengths,
    *,
    name: str,
    thickness_mm: float,
    chosen: Chosen,
    nominal: str,
    side_blend_mm: float,
    edge_mm: float,
    firm: bool = False,
    progress: Report | None = None,
) -> StripFaces:
    """Return the faces for a repeat.

    Parameters
    ----------
    repeat : Repeat
        The repeat.
    lengths : Lengths
        Zones of the face.
    name : str
        Said in errors.
    thickness_mm : float
        Thickness of the strip [mm].
    chosen : Chosen
        Gap, draft, cutter.
    nominal : {"outer", "inner"}
        Which face has the shape of the relief.
    side_blend_mm : float
        How far beside the ornament it comes down to the flat edge [mm].
    edge_mm : float
        Flat edge beside the ornament [mm].
    firm : bool
        Whether an edge that is too narrow is refused; else it is widened.
    progress : callable, optional
        Called as ``progress(what, share_done)``.

    Raises
    ------
    OptionError
        If the strip is too narrow for the faces to be flat at its edges, or the faces would grow too large.
    """
    before, after = _beyond(repeat, chosen, side_blend_mm)
    wanted = blended_face(repeat, lengths, before=before, after=after)
    origin = (-before * repeat.pitch_mm, -0.5 * repeat.width_mm)
    relief = Relief(name, wanted, np.ones(wanted.shape, np.bool_), repeat.pitch_mm, origin)
    whole = make_faces(
        relief,
        gap_mm=chosen.gap_mm,
        nominal=nominal,  # type: ignore[arg-type]  # held by the options
        draft=math.radians(chosen.draft_deg),
        cutter_radius_mm=chosen.cutter_radius_mm,
        blend_mm=side_blend_mm,
        progress=progress,
    )
    (progress or (lambda what, share: None))("measuring the gap", 1.0)
    times = round(repeat.pitch_mm / whole.pitch_mm)  # the pair may have been worked out on a finer grid
    lengths = lengths.finer(times)
    whole = _made_alike(whole, lengths, times * repeat.columns)
    # Measured on more than the face: at its very end the nearest place of the other face lies beyond it.
    gap = measured_gap(whole)
    rows, columns, y, room = _kept(whole, lengths, 0.5 * repeat.width_mm, (edge_mm, firm), name)

    def cut(field: Any) -> Any:
        return np.ascontiguousarray(field[rows][:, columns])

    x = np.asarray(whole.pitch_mm * np.arange(lengths.total), dtype=np.float64)
    parts: dict[str, Any] = {part: cut(getattr(whole, part)) for part in (*_CHANGED, "inside", "overhang")}
    pair = replace(whole, x=x, y=y, **parts)
    return StripFaces(
        pair=pair,
        punch=pair.inner - lift_off(lengths, thickness_mm),
        lengths=lengths,
        columns=times * repeat.columns,
        room_mm=room,
        gap=Gap(
            gap.least_mm,
            chosen.gap_mm + float(cut(gap.over).max()),
            tuple(place for place in gap.listed if 0.0 <= place.x_mm <= x[-1]),
            cut(gap.over),
        ),
        joint=joint_of(pair.face, lengths, columns=times * repeat.columns, pitch=whole.pitch_mm),
    )


def rim_height_mm(repeat: Repeat) -> float:
    """Return how high the ornament ends beside the flat edge [mm]; 0 where that is next to nothing."""
    high = float(np.abs(repeat.height[[0, -1]]).max())
    return high if high > _HIGH_RIM else 0.0


def _beyond(repeat: Repeat, chosen: Chosen, side_blend: float) -> tuple[int, int]:
    """Return columns of ornament and of flat strip to work out beyond the ends of the face."""
    reach = 2.0 * (chosen.gap_mm + chosen.cutter_radius_mm)
    high = float(max(np.ptp(repeat.height), np.abs(repeat.height).max()))
    walls = side_blend + high / slope_of_draft(math.radians(chosen.draft_deg))
    return math.ceil((reach + walls) / repeat.pitch_mm) + _ROOM, math.ceil(reach / repeat.pitch_mm) + _ROOM


def _made_alike(whole: Faces, lengths: Lengths, columns: int) -> Faces:
    """Return the faces with every repeat the same, taken from the register, where ornament is on both sides.

    Laying back walls stops within a share of a percent of their slope, which is not the same share in every repeat. The
    face that was offset stands as far off as either asks, so that the end of the ornament keeps room for the strip.
    """
    first = _first(whole)
    here = slice(first, first + lengths.full)
    one = first + lengths.way_out + (np.arange(lengths.full) - lengths.way_out) % columns
    changed: dict[str, Any] = {}
    for part in _CHANGED:
        field = np.array(getattr(whole, part))
        field[:, here] = field[:, one]
        changed[part] = field
    other, safer = ("inner", np.minimum) if whole.nominal == "outer" else ("outer", np.maximum)
    ending = slice(first + lengths.joints[0], first + lengths.full)
    changed[other][:, ending] = safer(changed[other][:, ending], getattr(whole, other)[:, ending])
    _held_under(changed, whole, lengths, columns)
    return replace(whole, **changed)


def _held_under(changed: dict[str, Any], whole: Faces, lengths: Lengths, columns: int) -> None:
    """Hold the way in between the flat strip and the ornament it leads to; what that takes, the other face gives back.

    Rounding to the cutter fills hollows of the way in that the ornament does not have, by some hundredths.
    """
    from scipy.ndimage import maximum_filter

    first, outer = _first(whole), whole.nominal == "outer"
    face, other = changed[whole.nominal], changed["inner" if outer else "outer"]
    coming = slice(first + lengths.full, first + lengths.full + lengths.way_in)
    beyond = np.arange(lengths.full, lengths.full + lengths.way_in)
    ideal = face[:, first + lengths.way_out + (beyond - lengths.way_out) % columns]
    held = np.clip(face[:, coming], np.minimum(ideal, 0.0), np.maximum(ideal, 0.0))
    taken = np.zeros_like(face)
    taken[:, coming] = np.maximum((face[:, coming] - held) * (1.0 if outer else -1.0), 0.0)
    face[:, coming] = held
    wide = 2 * math.ceil(whole.gap_mm / whole.pitch_mm) + 1
    given = maximum_filter(taken, size=wide)
    other -= given if outer else -given


def _first(whole: Faces) -> int:
    """Return the column where the face begins, x = 0."""
    return round(-float(whole.x[0]) / whole.pitch_mm)


def _kept(
    whole: Faces, lengths: Lengths, half_ornament: float, edge: tuple[float, bool], name: str
) -> tuple[IntArray, slice, FloatArray, float]:
    """Return rows and columns of the tool, where the rows stand, and how far beside the ornament the faces are flat."""
    first = _first(whole)
    columns = slice(first, first + lengths.total)
    level = np.ones(len(whole.y), np.bool_)
    for face in (whole.outer, whole.inner):
        level &= (np.abs(face[:, columns] - face[0, 0]) <= _LEVEL).all(axis=1)
    uneven = np.flatnonzero(~level)
    reach = float(np.abs(whole.y[uneven]).max()) + whole.pitch_mm if len(uneven) else half_ornament
    room = max(reach - half_ornament, 0.0)
    if edge[1] and edge[0] < room - 1e-9:
        raise OptionError(
            f"the strip comes down to its flat edge only {room:.2f} mm beside the ornament; an edge of {edge[0]:g} mm "
            "is too narrow.",
            where=name,
            remedy="Give a wider edge, a shorter side blend, or a relief that ends on its ground.",
        )
    half = half_ornament + max(edge[0], room)
    kept = np.flatnonzero(np.abs(whole.y) < half - 1e-6)
    y = np.concatenate([[-half], whole.y[kept], [half]])
    rows = np.concatenate([[0], kept, [len(whole.y) - 1]])  # the outermost rows are level: they do for the edges
    return rows, columns, y, room
