"""Public nesting instances as parts and sheets, what is published about them, and a check that knows nothing of us.

Source of the instances: EURO Special Interest Group on Cutting and Packing (ESICUP), "Cutting & Packing Datasets",
2025, CC0-1.0, commit 5fba5c4f, one JSON file each: strip_height, total_area, items of id, demand, allowed_rotations
[deg] and polygon. They are not part of this project: `data_folder` says where they are looked for.

Every strip is taken as 1000 mm wide, so that a grid step is one part in ten million of it.
"""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import shapely

from meshflow.model.curve import Polycurve
from meshflow.model.layout import Nest, Placement
from meshflow.model.part import Part
from meshflow.model.stock import Sheet

WIDTH_MM = 1000.0
DEEPEST_MM = 1e-3  # that two parts may lie in each other, and that one may stick out

# Density, area over used strip [%]: best known; mean of 100 runs of 20 minutes on three threads of a fast desktop
# (2025); means of Sato et al. 2019 and of Elkeran 2013, of 20 minutes each (the times of these two: MEMORY).
# READ: Gardeyn, Vanden Berghe and Wauters 2025, arXiv 2509.13329, tables 2 and 3, where the older means are restated
# (READ_VIA). Best known of jakobs1, shapes0 and blaz: in a strip made 0.01 % wider. blaz is SHAPES2 in the tables.
PUBLISHED = {
    "albano": (89.82, 89.47, 87.55, 87.47),
    "dagli": (90.17, 89.26, 87.50, 87.06),
    "jakobs1": (89.26, 89.09, 89.09, 88.90),
    "jakobs2": (87.73, 84.77, 83.56, 81.14),
    "mao": (86.87, 86.14, 83.76, 82.93),
    "marques": (92.02, 90.93, 89.97, 89.40),
    "shapes0": (69.98, 68.60, 68.73, 67.26),
    "blaz": (86.23, 84.68, 83.02, 82.40),
    "shirts": (90.92, 89.66, 87.62, 87.59),
    "swim": (79.83, 78.26, 74.29, 74.49),
}


@dataclass(frozen=True)
class Instance:
    """Parts [mm] with the sheet they go on; the optimal number of sheets, 0 where none is known."""

    name: str
    parts: tuple[Part, ...]
    sheet: Sheet
    optimal_sheets: int = 0

    @property
    def area(self) -> float:
        """Area of all copies [mm2]."""
        return sum(part.quantity * shapely.Polygon(part.outline.points).area for part in self.parts)


def data_folder() -> Path:
    """The folder MESHFLOW_BENCH_DATA names, or the first bench/nesting of a folder beside the project; else skip."""
    named = os.environ.get("MESHFLOW_BENCH_DATA", "")
    beside = [] if named else sorted(Path(__file__).resolve().parents[3].glob("*/bench/nesting"))
    for folder in [Path(named)] if named else beside:
        if (folder / "albano.json").is_file():
            return folder
    why = f"MESHFLOW_BENCH_DATA names {named!r}" if named else "none lies beside the project, nor is one named"
    pytest.skip(f"no folder of nesting instances: {why}")


def strip(name: str) -> Instance:
    """A strip instance, with a sheet long enough for any layout."""
    told = json.loads((data_folder() / f"{name}.json").read_text(encoding="utf-8"))
    scale = WIDTH_MM / told["strip_height"]
    parts = tuple(
        part(f"p{k:03d}", scale * np.array(item["polygon"]), item["demand"], tuple(item["allowed_rotations"]))
        for k, item in enumerate(told["items"])
    )
    longest = max(float(np.ptp(part.outline.points, axis=0).max()) for part in parts)
    length = 3.0 * told["total_area"] * scale**2 / WIDTH_MM + longest
    found = Instance(name, parts, Sheet("strip", math.ceil(length), WIDTH_MM, count=1))
    assert math.isclose(found.area, told["total_area"] * scale**2, rel_tol=1e-6), "the file contradicts itself"
    return found


def bins() -> list[Instance]:
    """The 60 instances of sheets of 1000 x 1000 (terashima1, convex, and terashima2, not convex); any quarter turn."""
    found = []
    for name in ("terashima1", "terashima2"):
        told = json.loads((data_folder() / "sheets" / f"{name}.json").read_text(encoding="utf-8"))
        for one in told["instances"]:
            parts = tuple(part(f"p{k:03d}", np.array(ring), 1, ()) for k, ring in enumerate(one["polygons"]))
            sheet = Sheet("bin", *(float(side) for side in one["bin"]))
            # Where no optimum is given: the area of the parts rounded up, which no layout goes below.
            area = sum(shapely.Polygon(part.outline.points).area for part in parts) / (sheet.length_mm * sheet.width_mm)
            found.append(Instance(one["name"], parts, sheet, one["optimal_bins"] or math.ceil(area - 1e-6)))
    return found


def part(name: str, points: np.ndarray, quantity: int, turns: tuple[float, ...]) -> Part:
    return Part(name, Polycurve(points), quantity=quantity, turns_deg=turns)


def checked_density(instance: Instance, answer: Nest) -> float:
    """Area over used strip [%], measured with shapely on the outlines as given, after `check`."""
    check(instance, answer)
    (layout,) = answer.sheets
    used = max(shape.bounds[2] for shape in shapes(instance, layout.placements))
    return 100.0 * instance.area / (used * WIDTH_MM)


def check(instance: Instance, answer: Nest, *, spacing_mm: float = 0.0) -> None:
    """Assert that every copy lies on a sheet, turned as it may be, inside it and clear of the others."""
    turns = {part.name: part.turns_deg or (0.0, 90.0, 180.0, 270.0) for part in instance.parts}
    copies = sorted((one.part, one.copy) for layout in answer.sheets for one in layout.placements)
    assert copies == [(part.name, k + 1) for part in instance.parts for k in range(part.quantity)]
    for layout in answer.sheets:
        for one in layout.placements:
            assert not one.mirrored
            assert min(abs(math.remainder(one.angle_deg - turn, 360.0)) for turn in turns[one.part]) < 1e-9
        lying = shapes(instance, layout.placements)
        sheet = shapely.box(0.0, 0.0, instance.sheet.length_mm, instance.sheet.width_mm)
        assert all(shapely.contains(sheet.buffer(DEEPEST_MM, join_style="mitre"), lying))
        # Two that lie in each other by no more than this no longer do when half of it is taken off each all round.
        taken_off = 0.5 * (spacing_mm - DEEPEST_MM)
        inner = shapely.buffer(lying, taken_off, quad_segs=32, join_style="mitre" if taken_off < 0.0 else "round")
        one, other = shapely.STRtree(inner).query(inner, predicate="intersects")
        assert not np.any(one < other), [(copies[i], copies[k]) for i, k in zip(one, other, strict=True) if i < k]


def shapes(instance: Instance, placements: tuple[Placement, ...]) -> list[shapely.Polygon]:
    """The outlines as given, turned and moved."""
    rings = {part.name: part.outline.points for part in instance.parts}
    found = []
    for one in placements:
        c, s = math.cos(math.radians(one.angle_deg)), math.sin(math.radians(one.angle_deg))
        found.append(shapely.Polygon(rings[one.part] @ np.array([[c, s], [-s, c]]) + (one.x_mm, one.y_mm)))
    return found
