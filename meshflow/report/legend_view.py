"""The key to the colours and the histogram, as one picture.

Each bar is the share of the piece's area in one step of the palette, standing on its colour; a face counts once, by
whichever of its two sides is further along. The limits are lines through bars and scale.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from meshflow.model.arrays import FloatArray
from meshflow.model.pattern import FlatPattern
from meshflow.report.maps import FaceMap, stretch_map
from meshflow.report.palette import INK, PAPER, STEPS, StretchScale, tone
from meshflow.report.picture import Fill, Item, Lines, Picture, Words
from meshflow.report.zones import Zone, hatch_lines

__all__ = ["legend_picture", "step_shares"]

_WIDTH, _BLOCK, _LEFT = 380.0, 33.0, 8.5
_BARS_TOP, _BARS, _SCALE = 62.0, 92.0, 22.0
_FOOT = _BARS_TOP + _BARS + _SCALE


def step_shares(pattern: FlatPattern, shown: FaceMap | None = None) -> FloatArray:
    """Return the share of the formed area in each step, shape (11,): index 0 is step -5, index 5 lies flat."""
    weight = pattern.distortion.area_surface
    total = np.bincount((shown or stretch_map(pattern)).steps() + STEPS, weights=weight, minlength=2 * STEPS + 1)
    return np.asarray(total / max(float(weight.sum()), 1e-300))


def legend_picture(pattern: FlatPattern, shown: FaceMap | None = None) -> Picture:
    """Return the key with its histogram, 380 units wide.

    Parameters
    ----------
    pattern : FlatPattern
        The piece laid flat; its limits set the scale of its stretch.
    shown : FaceMap, optional
        What the piece is coloured by; its stretch when left out.
    """
    shown = shown or stretch_map(pattern)
    scale, shares = shown.scale, step_shares(pattern, shown)
    tallest = max(float(shares.max()), 1e-9)
    items: list[Item] = []
    for step in range(-STEPS, STEPS + 1):
        share = float(shares[step + STEPS])
        items += _block(_x(step), _BARS_TOP + _BARS + 2, _SCALE, step, scale)
        if share > 0:
            height = max(share / tallest * _BARS, 2.0)
            top = _BARS_TOP + _BARS - height
            items += _block(_x(step) + 3, top, height, step, scale, width=_BLOCK - 6)
            items.append(Words(_x(step) + _BLOCK / 2, top - 5, share_label(share), 12.5, "middle"))
    base = np.array([[_LEFT, _BARS_TOP + _BARS], [_LEFT + 11 * _BLOCK, _BARS_TOP + _BARS]])
    items.append(Lines((base,), INK, 1.2))
    return Picture(_WIDTH, _FOOT + 44, (*items, *_numbers(shown), *_limit_marks(shown)))


def share_label(share: float) -> str:
    """Return a share of area as it stands over its bar: whole percents, ``<1`` for a trace."""
    return "<1" if share < 0.005 else f"{100 * share:.0f}"


def _x(step: int) -> float:
    """Return the left edge of a step's block."""
    return _LEFT + (step + STEPS) * _BLOCK


def _block(x: float, y: float, height: float, step: int, scale: StretchScale, *, width: float = _BLOCK) -> list[Item]:
    box = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    items: list[Item] = [Fill((box,), tone(step))]
    hatch = scale.hatch(step)
    if hatch is not None:
        border = np.array([[0, 1], [1, 2], [2, 3], [3, 0]])
        lines = hatch_lines(Zone(box, border), angle_deg=-hatch.angle_deg, spacing=hatch.spacing)
        items.append(Lines(lines, hatch.colour, hatch.width))
    return [*items, Lines((box,), INK, 0.7, closed=True)]


def _numbers(shown: FaceMap) -> list[Item]:
    """Return the figures under the borders of the steps, and what the two sides mean."""
    y = _FOOT + 17
    scale, unit = shown.scale, shown.per_unit
    items: list[Item] = []
    for step in range(1, STEPS + 1):
        items.append(Words(_x(step), y, _figure(unit * scale.stretch_edges[step - 1]), 12.5, "middle"))
        items.append(Words(_x(1 - step), y, _figure(unit * scale.gather_edges[step - 1]), 12.5, "middle"))
    middle = _x(0) + _BLOCK / 2
    items.append(Words(_LEFT, y + 21, shown.down_words, 13, "start", bold=True))
    items.append(Words(_LEFT + 11 * _BLOCK, y + 21, shown.up_words, 13, "end", bold=True))
    items.append(Words(middle, y + 21, shown.middle, 13, "middle"))
    return items


def _figure(value: float) -> str:
    """Return a number of at most four signs: five run into the next one."""
    text = f"{value:.3g}"
    return text if len(text) <= 4 else f"{value:.2g}"


def _limit_marks(shown: FaceMap) -> list[Item]:
    items: list[Item] = []
    for side, words in ((-1, shown.down_limit), (1, shown.up_limit)):
        first = shown.scale.limit_step(side)
        if first is None:
            continue
        x = _x(first) if side > 0 else _x(1 - first)
        line = np.array([[x, 12.0], [x, _FOOT + 4]])
        items += [Lines((line,), PAPER, 4.5), Lines((line,), INK, 2.2)]
        anchor: Literal["start", "end"] = "start" if side > 0 else "end"
        for y, text in zip((24, 40), words, strict=True):
            items.append(Words(x + 5 * side, y, text, 13, anchor, bold=True))
    if not items and shown.unlimited:
        items.append(Words(_WIDTH / 2, 30, shown.unlimited, 13, "middle"))
    return items
