"""The room between punch and die when they are closed: measured on the triangles, and the places where it differs.

Terms: a *place* is a patch of neighbouring samples that have something in common, with its worst sample.

Method: the nearest distance from every sample of each face to the triangles of the other, apart from how the faces were
made. Where all is flat about a sample the gap needs no measuring.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from meshflow.geometry.envelope import gap_to
from meshflow.model.arrays import BoolArray, FloatArray
from meshflow.tooling.faces import Faces

__all__ = ["GAP_TOLERANCE_MM", "Gap", "Place", "measured_gap", "places_where"]

GAP_TOLERANCE_MM = 0.02
_FARTHEST = 5.0  # of the gap asked for
_DRAFT_ADDED = 0.005  # mm


@dataclass(frozen=True, slots=True)
class Place:
    """A patch of samples.

    Parameters
    ----------
    x_mm, y_mm : float
        Its worst sample, on the flat [mm].
    value_mm : float
        What is there: a gap, a depth [mm].
    area_mm2 : float
        How large the patch is, on the flat [mm2].
    why : str
        Why, where that can be told.
    """

    x_mm: float
    y_mm: float
    value_mm: float
    area_mm2: float
    why: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "at_mm": [round(self.x_mm, 4), round(self.y_mm, 4)],
            "value_mm": round(self.value_mm, 4),
            "area_mm2": round(self.area_mm2, 4),
            **({"why": self.why} if self.why else {}),
        }


@dataclass(frozen=True, eq=False)
class Gap:
    """The gap of a closed pair.

    Parameters
    ----------
    least_mm, most_mm : float
        Over all samples of both faces [mm].
    listed : tuple of Place
        Where it is wider than asked by more than 0.02 mm, the widest first.
    over : (rows, columns) float array
        How much wider it is at each sample, the wider of the two faces [mm].
    """

    least_mm: float
    most_mm: float
    listed: tuple[Place, ...]
    over: FloatArray


def measured_gap(faces: Faces) -> Gap:
    """Return the gap between the two faces of a pair, closed on the sheet.

    Parameters
    ----------
    faces : Faces
        The pair.

    Returns
    -------
    Gap
        Least, most, and the places where it is wider than asked.
    """
    from scipy.ndimage import maximum_filter

    pitch, gap = faces.pitch_mm, faces.gap_mm
    wide = 2 * int(np.ceil(1.5 * gap / pitch)) + 1
    uneven = (faces.outer != faces.outer[0, 0]) | (faces.inner != faces.inner[0, 0])
    wanted = maximum_filter(uneven, size=wide)
    least, over = gap, np.zeros_like(faces.outer)
    for one, two in ((faces.outer, faces.inner), (faces.inner, faces.outer)):
        found = gap_to(one, two, pitch=pitch, within=_FARTHEST * gap, wanted=wanted)
        found[wanted] = np.minimum(found[wanted], _FARTHEST * gap)
        found[~wanted] = gap
        least = min(least, float(found.min()))
        np.maximum(over, found - gap, out=over)
    listed = places_where(over > GAP_TOLERANCE_MM, over + gap, faces, within_mm=gap)
    return Gap(least, gap + float(over.max()), tuple(_with_reason(listed, faces)), over)


def places_where(mask: BoolArray, value: FloatArray, faces: Faces, *, within_mm: float = 0.0) -> list[Place]:
    """Return the patches of a mask, each with its greatest value, the greatest first.

    Patches that are no farther apart than `within_mm` count as one place: that is how they are found at the bench.
    """
    from scipy.ndimage import label, maximum_filter, maximum_position
    from scipy.ndimage import sum as total

    wide = 2 * int(0.5 * within_mm / faces.pitch_mm) + 1
    patches, count = label(maximum_filter(mask, size=wide) if wide > 1 else mask, structure=np.ones((3, 3)))
    if count == 0:
        return []
    patches = np.where(mask, patches, 0)
    numbers = np.arange(1, count + 1)
    worst = maximum_position(value, patches, numbers)
    area = np.asarray(total(mask, patches, numbers)) * faces.pitch_mm**2
    found = [
        Place(float(faces.x[int(column)]), float(faces.y[int(row)]), float(value[int(row), int(column)]), float(size))
        for (row, column), size in zip(worst, area, strict=True)
    ]
    return sorted(found, key=lambda place: (-place.value_mm, place.x_mm, place.y_mm))


def _with_reason(places: list[Place], faces: Faces) -> list[Place]:
    from scipy.ndimage import maximum_filter

    wide = 2 * int(np.ceil(faces.gap_mm / faces.pitch_mm)) + 1
    near_draft = maximum_filter(faces.filled > _DRAFT_ADDED, size=wide)
    row = np.rint((np.array([place.y_mm for place in places]) - faces.y[0]) / faces.pitch_mm).astype(int)
    column = np.rint((np.array([place.x_mm for place in places]) - faces.x[0]) / faces.pitch_mm).astype(int)
    return [
        Place(place.x_mm, place.y_mm, place.value_mm, place.area_mm2, "draft" if near_draft[r, c] else "tight")
        for place, r, c in zip(places, row, column, strict=True)
    ]
