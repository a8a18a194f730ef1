"""Will one blow of a strip tool strike? The plan of `strike`, for what lies under the face at a time.

The whole face is counted, register and ways included, so the force is on the safe side: the register is formed already.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np

from meshflow.model.relief import Relief
from meshflow.model.stock import Machine
from meshflow.model.strike import StrikePlan
from meshflow.stock import Stock
from meshflow.tooling.strike import StrikeOptions, will_it_strike
from meshflow.tooling.strip_notes import StripWork

__all__ = ["face_relief", "strike_of_blow", "strike_record"]

_SAMPLES: Final = 60_000
_NOT_OURS: Final = ("blows_per_piece", "area_per_blow_mm2", "material", "sheet_mm")  # said otherwise for a strip


def face_relief(work: StripWork) -> Relief:
    """Return the ornament under the face as a relief, on a grid coarse enough for the strain to be quick."""
    pair, lengths = work.faces.pair, work.faces.lengths
    rows = np.flatnonzero(pair.inside.any(axis=1))
    face = pair.face[rows[0] : rows[-1] + 1, : lengths.full + lengths.way_in]
    every = max(1, int(np.ceil(np.sqrt(face.size / _SAMPLES))))
    height = face[::every, ::every]
    return Relief(
        "one blow", height, np.ones(height.shape, np.bool_), every * pair.pitch_mm, (0.0, float(pair.y[rows[0]]))
    )


def strike_of_blow(
    work: StripWork, *, stock: Stock, press: Machine | None, temper: str, options: StrikeOptions | None
) -> StrikePlan:
    """Return whether one blow strikes, with what force, how often the strip is annealed."""
    asked = replace(
        options or StrikeOptions(),
        block_mm=(work.plan.length_mm, 2.0 * work.plan.half_width_mm),
        closed_height_mm=sum(work.plan.land_mm) + work.chosen.gap_mm,
    )
    return will_it_strike(
        face_relief(work),
        material=work.material.id,
        thickness_mm=work.options.thickness_mm,
        temper=temper,
        press=press,
        options=asked,
        stock=stock,
    )


def strike_record(plan: StrikePlan) -> dict[str, Any]:
    """Return the entries of ``tool.json`` that belong to one blow."""
    return {key: value for key, value in plan.to_json().items() if key not in _NOT_OURS}
