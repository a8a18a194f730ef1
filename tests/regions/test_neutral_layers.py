"""Layers over one scan, each laid flat at its own offset: closed forms of the cylinder and the cone."""

from __future__ import annotations

import meshes
import numpy as np
import pytest

from meshflow.flatten import flatten
from meshflow.geometry.topology import boundary_loops
from meshflow.model.finding import Severity
from meshflow.model.pattern import FlatPattern
from meshflow.model.surface import Surface
from meshflow.regions import neutral_surface, select

# What lies on a wall or in it: (side, thickness, offset) and how far its middle is outside the scan.
LAYERS = [
    ("inner", 6.0, 0.0, 3.0),  # padding on the outside
    ("inner", 1.6, 6.0, 6.8),  # cover over it
    ("inner", 1.6, 7.6, 8.4),  # a second cover
    ("outer", 1.0, 0.0, -0.5),  # lining
    ("outer", 6.0, 0.0, -3.0),  # padding on the hollow side
    ("outer", 1.6, -6.0, -6.8),  # cover over that
    ("middle", 2.0, -6.0, -6.0),
]


def pattern(mesh: meshes.Mesh, side: str, thickness: float, offset: float) -> FlatPattern:
    piece = select(Surface(*mesh), thickness=thickness, side=side)
    return flatten(neutral_surface(piece, offset_mm=offset))


def row_lengths(flat: np.ndarray, rows: int) -> np.ndarray:
    return np.linalg.norm(np.diff(flat.reshape(rows, -1, 2), axis=1), axis=2).sum(axis=1)


@pytest.mark.parametrize(("side", "thickness", "offset", "middle"), LAYERS)
def test_each_layer_of_a_wall_is_as_wide_as_its_own_radius_says(side, thickness, offset, middle):
    # phi (R + offset +- t / 2), of which 300 facets are short by (phi / 300)^2 / 24 = 1e-5.
    angle = np.radians(270)
    flat = pattern(meshes.developable_cylinder(40.0, angle, 20.0, 301, 5), side, thickness, offset).vertices
    assert row_lengths(flat, 5) == pytest.approx(angle * (40.0 + middle), rel=2e-5)


@pytest.mark.parametrize(("side", "thickness", "offset", "middle"), LAYERS)
def test_each_layer_of_a_cone_is_the_sector_of_its_own_slant(side, thickness, offset, middle):
    # A cone moved out by d is the same cone with its apex d / sin(half) higher: each rim has the radius
    # r + d cos(half), and the slant between the rims stays. Unrolled: a sector of phi sin(half). The rims' normals
    # are good to some 1e-4 on these facets.
    half, angle = np.radians(30), np.radians(300)
    mesh = meshes.developable_cone(half, angle, 100.0, 60.0, 301, 5)
    flat = pattern(mesh, side, thickness, offset).vertices.reshape(5, -1, 2)
    for row, slant in ((0, 100.0), (4, 60.0)):
        length = np.linalg.norm(np.diff(flat[row], axis=0), axis=1).sum()
        assert length == pytest.approx(angle * (slant * np.sin(half) + middle * np.cos(half)), rel=1e-4)
    assert np.linalg.norm(flat[4] - flat[0], axis=1) == pytest.approx(40.0, rel=5e-5)


def test_a_cover_in_a_hollow_that_its_padding_fills_is_refused():
    trough = meshes.developable_cylinder(5.0, np.radians(270), 20.0, 91, 9)
    padding = neutral_surface(select(Surface(*trough), thickness=6.0, side="outer"))
    cover = neutral_surface(select(Surface(*trough), thickness=1.6, side="outer"), offset_mm=-6.0)
    assert not [note for note in padding.notes if note.code == "R110"]
    assert [note.severity for note in cover.notes if note.code == "R110"] == [Severity.REFUSE]


def test_a_cover_over_a_groove_goes_straight_across():
    # A groove of 3 mm radius under a cover at 5 mm: too tight, 3 % of the area. The cover is as wide as the plate.
    plate = Surface(*meshes.grooved_plate(3.0, half=150.0, length=60.0))
    region = neutral_surface(select(plate, thickness=0.8, side="inner"), offset_mm=4.6)
    (note,) = [note for note in region.notes if note.code == "R110"]
    assert note.severity == Severity.WARNING
    assert "5 mm from the scan at the nearest" in note.text
    flat = flatten(region).vertices.reshape(9, -1, 2)
    assert np.linalg.norm(flat[:, -1] - flat[:, 0], axis=1) == pytest.approx(306.0, rel=1e-6)


def test_the_rim_of_a_layer_is_that_of_the_layers_beside_it():
    # Same faces, same loops: notches and seams of padding and cover can be laid over each other.
    dome = Surface(*meshes.spherical_cap(60.0, np.radians(50), 12))
    padding = neutral_surface(select(dome, thickness=6.0, side="inner"))
    cover = neutral_surface(select(dome, thickness=1.6, side="inner"), offset_mm=6.0)
    assert (padding.faces == cover.faces).all()
    one, two = (boundary_loops(region.faces)[0] for region in (padding, cover))
    assert (one == two).all()
