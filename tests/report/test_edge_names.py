"""Names of edges in the picture of a part: beside their edge, off the material, and only where they are of use."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from meshes import developable_cylinder, laid_flat

from meshflow.model.allowance import Allowance
from meshflow.model.pattern import Edge, FlatPattern
from meshflow.outline import outline
from meshflow.report.pattern_view import pattern_picture
from meshflow.report.picture import Lines, Picture, Words

ACROSS, UP, RADIUS, HEIGHT = 41, 9, 60.0, 50.0
NAMES = ("lower", "right", "upper", "left")


def wall(**fields: object) -> FlatPattern:
    """A wall of 94 x 50 mm, its four sides named by where they lie."""
    vertices, faces = developable_cylinder(RADIUS, np.radians(90), HEIGHT, ACROSS, UP)
    along, z = np.meshgrid(np.linspace(0.0, RADIUS * np.pi / 2, ACROSS), np.linspace(0.0, HEIGHT, UP))
    row, column = np.arange(ACROSS), np.arange(UP) * ACROSS
    runs = (row, column + ACROSS - 1, (row + (UP - 1) * ACROSS)[::-1], column[::-1])
    edges = tuple(Edge(name, run) for name, run in zip(NAMES, runs, strict=True))
    flat = np.stack([along.ravel(), z.ravel()], axis=1)
    return laid_flat(vertices, faces, flat=flat, edges=edges, name="wall", **fields)  # type: ignore[arg-type]


def names(picture: Picture) -> dict[str, np.ndarray]:
    return {
        item.text: np.array([item.x, item.y])
        for item in picture.items
        if isinstance(item, Words) and item.text in NAMES
    }


def ring(picture: Picture) -> np.ndarray:
    return next(item for item in picture.items if isinstance(item, Lines) and item.closed and item.width == 2.2).runs[0]


@pytest.mark.parametrize("face_up", ["outer", "inner"])
@pytest.mark.parametrize("width", [5.0, 30.0])
def test_each_name_stands_outside_the_material_beside_the_middle_of_its_own_edge(face_up, width):
    pattern = wall(face_up=face_up)
    picture = pattern_picture(pattern, outline(pattern, allowances=[Allowance("left", "lap", width)]))[0]
    found = names(picture)
    assert sorted(found) == sorted(NAMES)
    solid = shapely.Polygon(ring(picture))
    assert not any(solid.contains(shapely.Point(*place)) for place in found.values())
    assert all(0.0 < x < picture.width and 0.0 < y < picture.height for x, y in found.values())
    x0, y0, x1, y1 = solid.bounds
    sides = {"lower": y1, "upper": y0}
    for name, edge in sides.items():
        assert abs(found[name][1] - edge) < 25.0
    # A wall turned over is shown turned over: what lay left lies right.
    left, right = ("left", "right") if face_up == "outer" else ("right", "left")
    assert found[left][0] < x0 < x1 < found[right][0]


def test_a_part_with_nothing_along_its_edges_has_no_names():
    pattern = wall()
    plain = outline(pattern)
    assert names(pattern_picture(pattern, plain)[0]) == {}
    given = outline(pattern, allowances=[Allowance("left", "lap", 9.0)])
    assert len(names(pattern_picture(pattern, given)[0])) == 4
    # Drawn for another purpose, the outline is not shown, so neither are its names.
    other = replace(given, outline=type(given.outline)(given.outline.points * 2.0))
    assert names(pattern_picture(pattern, other)[0]) == {}
