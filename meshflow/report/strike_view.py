"""A picture of how thin a struck sheet gets, over the relief: the plan, and the bound for metal that sticks.

The palette is that of every map: ochre where the sheet thins, blue where it thickens, the steps at 1, 5, 10, 20 and
30 %, with lines in the key at the marks where to take care and where to stop.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from meshflow.model.arrays import FloatArray, UInt8Array
from meshflow.model.strike import StrainField, StrikePlan
from meshflow.report.figures import write_png
from meshflow.report.palette import PAPER, STEPS, tone
from meshflow.report.picture import Fill, Frame, Item, Lines, Picture, Pixels, Words, moved, scale_bar

__all__ = ["strike_map", "strike_png"]

_EDGE, _VIEW, _GAP, _TOP = 24.0, 400.0, 28.0, 118.0
_LEVELS: Final = (0.01, 0.05, 0.10, 0.20, 0.30)
_BLOCK = 44.0
_FINE = 3  # pixels a picture unit
_WORDS: Final = {
    "held": "rim held in the land",
    "sticking": "if the metal sticks to the tool",
    "free": "rim drawn in freely",
    "formed": "laid flat with the least work",
}
_VERDICT: Final = {"strikes": "it strikes", "doubtful": "doubtful: make a trial strike", "tears": "it tears"}


def strike_map(field: StrainField) -> tuple[UInt8Array, FloatArray, FloatArray]:
    """Return the thinning as colours, upper row first, and the corners of the map.

    Parameters
    ----------
    field : StrainField
        On a grid.

    Returns
    -------
    colours : (rows, columns, 3) uint8 array
        Red, green, blue; paper where there is no sheet.
    low, high : (2,) float array
        Corners [mm].
    """
    thin, inside = field.on_map(field.thinning)
    up, down = (np.searchsorted(_LEVELS, side, side="right") for side in (thin, -thin))
    tones = [tone(step) for step in range(-STEPS, STEPS + 1)] + [PAPER]
    palette = np.array([tuple(bytes.fromhex(colour[1:])) for colour in tones], dtype=np.uint8)
    colours = palette[np.where(inside, np.where(down > 0, -down, up) + STEPS, 2 * STEPS + 1)]
    low = np.asarray(field.origin_mm) - 0.5 * field.pitch_mm
    high = low + field.pitch_mm * np.array(thin.shape[::-1])
    return colours[::-1], low, high


def strike_png(name: str, plan: StrikePlan, path: Path) -> None:
    """Write the map of thinning as PNG: of the plan, and beside it of metal that sticks.

    Parameters
    ----------
    name : str
        Name of the relief or tool.
    plan : StrikePlan
        Of a relief: its fields lie on a grid.
    path : Path
        Where to write.
    """
    shown = [field for field in plan.fields if field.places is not None and field.holding in ("held", "sticking")]
    items: list[Item] = [Words(_EDGE, 42, f"{name}: how thin the sheet gets", 24, bold=True)]
    low_mm, bound = plan.thickness_min_mm, plan.thickness_bounds_mm
    said = f"{_VERDICT[plan.verdict]}; thinnest {low_mm:.2f} mm (between {bound[0]:.2f} and {bound[1]:.2f} mm)"
    items.append(Words(_EDGE, 72, said, 15))
    pixels, tallest, frame = [], 0.0, None
    for number, field in enumerate(shown):
        left = _EDGE + number * (_VIEW + _GAP)
        colours, low, high = strike_map(field)
        frame = Frame.fitting(low, high, width=_VIEW, most_height=_VIEW, border=6.0)
        pixels.append(Pixels(left + frame.left, _TOP + frame.top, frame.width, frame.height, _enlarged(colours, frame)))
        items.append(Words(left + _VIEW / 2, _TOP - 10, _WORDS[field.holding], 14, "middle"))
        tallest = max(tallest, frame.height)
    below = _TOP + tallest + 44
    if frame is not None:
        items += scale_bar(frame, x=_EDGE, y=below - 8, most=160.0, size=12.5)
    width = 2 * (_EDGE + _VIEW) + _GAP
    items += moved(_key(), (width - (2 * STEPS + 1) * _BLOCK) / 2, below + 22)
    write_png(Picture(width, below + 104, tuple(items)), path, pixels=pixels)


def _enlarged(colours: UInt8Array, frame: Frame) -> UInt8Array:
    """Return the map with whole pixels for each sample, so that no colour between two steps appears."""
    times = max(1, round(_FINE * frame.width / colours.shape[1]))
    return np.asarray(np.repeat(np.repeat(colours, times, axis=0), times, axis=1))


def _key() -> Picture:
    items: list[Item] = []
    for place, step in enumerate(range(-STEPS, STEPS + 1)):
        left = place * _BLOCK
        box = np.array([[left, 0.0], [left + _BLOCK, 0.0], [left + _BLOCK, 20.0], [left, 20.0]])
        items += [Fill((box,), tone(step)), Lines((box,), width=0.6, closed=True)]
        if step:
            at = left if step > 0 else left + _BLOCK
            items.append(Words(at, 36, f"{100 * _LEVELS[abs(step) - 1]:g}", 12, "middle"))
    items += [Words(0, -6, "thicker, %", 12), Words((2 * STEPS + 1) * _BLOCK, -6, "thinner, %", 12, "end")]
    for step, words in ((4, "care"), (5, "stop")):
        at = (STEPS + step) * _BLOCK
        items += [
            Lines((np.array([[at, -4.0], [at, 24.0]]),), width=2.2),
            Words(at, 52, words, 12, "middle", bold=True),
        ]
    return Picture((2 * STEPS + 1) * _BLOCK, 60, tuple(items))
