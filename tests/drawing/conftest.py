"""Drawings of the carousel workshop with lengths known in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pytest

from meshflow.drawing import compose_part
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Drawing, Layer
from meshflow.model.part import Mark, Part

QUARTER = math.tan(math.pi / 8)


def _rounded_plate(width: float, height: float, corner: float) -> Polycurve:
    c, w, h = corner, width, height
    points = [[c, 0], [w - c, 0], [w, c], [w, h - c], [w - c, h], [c, h], [0, h - c], [0, c]]
    return Polycurve(points, [0.0, QUARTER] * 4)


@pytest.fixture
def backing_plate() -> Part:
    """Plate behind a horse's tail: rounded outline, round hole, slot, and a mark on most layers."""
    slot = Polycurve([[70, 25], [40, 25], [40, 35], [70, 35]], [0.0, -1.0, 0.0, -1.0])  # clockwise, round ends
    three_quarters = math.tan(math.radians(270) / 4)
    marks = (
        Mark(Layer.MARK_LINE, Polycurve([[20, 10], [0, 30]], [QUARTER, 0.0], closed=False)),
        Mark(Layer.MARK_TEXT, Polycurve([[80, 40], [80, 47], [84, 44]], closed=False)),
        Mark(Layer.FOLD_LINE, Polycurve([[0, 50], [100, 50]], closed=False)),
        # Three quarters of a circle of radius 6 about (96, 20), so the drawing reaches to x = 102.
        Mark(Layer.BEND_LINE, Polycurve([[90, 20], [96, 26]], [three_quarters, 0.0], closed=False)),
        Mark(Layer.STITCH_POINT, Dot((12.5, 44.0))),
        Mark(Layer.STITCH_POINT, Dot((17.5, 44.0))),
    )
    return Part(
        "tail-plate",
        _rounded_plate(100.0, 60.0, 10.0),
        holes=(Circle((25.0, 30.0), 8.0), slot),
        marks=marks,
        material="copper-cu-etp",
        thickness_mm=1.2,
        quantity=3,
        process="water-jet",
    )


@pytest.fixture
def plate_lengths() -> dict[str, float]:
    """Length on each layer of the backing plate, by hand [mm]."""
    return {
        "CUT_OUTSIDE": 2 * 80 + 2 * 40 + 2 * math.pi * 10,
        "CUT_INSIDE": 2 * math.pi * 8 + 2 * 30 + 2 * math.pi * 5,
        "MARK_LINE": math.pi / 2 * 20,
        "MARK_TEXT": 7 + 5,
        "FOLD_LINE": 100.0,
        "BEND_LINE": 1.5 * math.pi * 6,
        "STITCH_POINT": 0.0,
    }


@pytest.fixture
def plate_drawing(backing_plate: Part) -> Drawing:
    return compose_part(backing_plate, job_hash="5e" * 32)


@pytest.fixture
def save(tmp_path: Path) -> Callable[..., Path]:
    """Write a drawing made by `draw(modelspace, document)` and return its path."""

    def write(draw: Callable[[Any, Any], object], *, units: int = 4, version: str = "R2010") -> Path:
        document = ezdxf.new(version, units=units) if version != "R12" else ezdxf.document.Drawing.new(version)
        draw(document.modelspace(), document)
        path = tmp_path / "shop.dxf"
        document.saveas(path)
        return path

    return write
