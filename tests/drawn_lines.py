"""Lines to cut along, and what a clean cut is: every bit of the line an edge, no area lost, the pieces expected."""

from __future__ import annotations

import importlib.metadata

import numpy as np
import pytest

from meshflow.geometry.topology import boundary_loops, edge_table, shells
from meshflow.geometry.triangles import face_areas
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.regions.landing import land_nearest
from meshflow.regions.loop import cut_along
from meshflow.regions.pick import divide
from meshflow.regions.piece import whole_piece
from meshflow.regions.selector import parse_selector


def circle(radius, count=24, centre=(0.0, 0.0, 0.0)):
    turn = np.arange(count) * (2 * np.pi / count)
    return np.stack([radius * np.cos(turn), radius * np.sin(turn), np.zeros(count)], axis=1) + centre


def area_of(piece):
    return float(face_areas(piece.vertices, piece.faces).sum())


def boundary_length(vertices, faces):
    table = edge_table(faces)
    ends = vertices[table.vertices[table.boundary]]
    return float(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).sum())


def assert_cut_clean(surface, points):
    """Cut along a line; return the areas on its two sides."""
    faces, weights, _ = land_nearest(surface, points, "line")
    loop = cut_along(whole_piece(surface), faces, weights, np.arange(len(points)))
    piece, on = loop.piece, loop.vertices
    edges = set(map(tuple, edge_table(piece.faces).vertices.tolist()))
    run = np.sort(np.stack([on, np.roll(on, -1)], axis=1), axis=1)
    assert all(edge in edges for edge in map(tuple, run.tolist())), "a bit of the line is no edge"
    whole = float(face_areas(surface.vertices, surface.faces).sum())
    assert area_of(piece) == pytest.approx(whole, rel=1e-9)
    assert boundary_length(piece.vertices, piece.faces) == pytest.approx(
        boundary_length(surface.vertices, surface.faces), rel=1e-9
    )
    assert edge_table(piece.faces).face_count.max() == edge_table(surface.faces).face_count.max()
    # Points kept; those beside a side or corner of a face, by a hundred-thousandth, moved onto it.
    landed = np.einsum("ik,ikd->id", weights, surface.vertices[surface.faces[faces]])
    off = [np.linalg.norm(piece.vertices[on] - point, axis=1).min() for point in landed]
    size = np.linalg.norm(surface.extent_mm)
    corners = surface.vertices[surface.faces]
    assert max(off) <= 1.001e-5 * np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max()
    sides = np.linalg.norm(piece.vertices[piece.faces] - np.roll(piece.vertices[piece.faces], -1, axis=1), axis=2)
    assert sides.min() > 1e-9 * size
    division, notes = divide(surface, parse_selector("line=x"), {"x": points})
    parts = division.inside, ~division.inside
    assert [note.code for note in notes] == ["R120"]
    # Cut along the line, the shell it lies on falls in exactly two.
    for part in parts:
        assert shells(division.piece.faces[part]).max() <= shells(surface.faces).max()
    return [float(face_areas(division.piece.vertices, division.piece.faces)[part].sum()) for part in parts]


def rim_of_disc(surface, radius, every):
    """Points along the rim of a disc that runs over no edge, pushed off the surface a little."""
    random = np.random.default_rng(0)
    for _ in range(100):
        at = surface.vertices[surface.faces[random.integers(len(surface.faces))]].mean(axis=0)
        disc, notes = divide(surface, parse_selector("at={},{},{} radius={}".format(*at, radius)))
        loops = boundary_loops(disc.part().faces)
        if len(loops) == 1 and not notes:
            points = disc.part().vertices[loops[0]][::every]
            return points + 1e-3 * radius * random.normal(size=points.shape), disc.area_mm2
    raise AssertionError("no place on the surface for such a disc")


def bunny():
    """The Stanford bunny as pymeshfix carries it (Stanford 3D Scanning Repository; free use with credit)."""
    try:
        files = importlib.metadata.files("pymeshfix") or []
    except importlib.metadata.PackageNotFoundError:
        files = []
    found = [file for file in files if file.name == "StanfordBunny.ply"]
    if not found:
        pytest.skip("the package pymeshfix, which carries the scan, is not installed")
    return mend(read_mesh(found[0].locate(), units="cm"))
