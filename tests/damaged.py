"""Damaged meshes asked for by their fault, each with the findings and the mended size that are right for it.

Sizes follow from the way each is made: a ball of 162 points and 320 faces, a box of 8 and 12.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from meshes import Mesh, closed_ball, closed_box, closed_torus, flat_disk, rough, saddle

from meshflow.model.surface import Surface


@dataclass(frozen=True)
class Damaged:
    """A faulty mesh: what a check counts (notes included), size after mending, what a check of that still counts."""

    surface: Surface
    found: dict[str, int]
    mended: tuple[int, int]
    left: dict[str, int] = field(default_factory=dict)


def soup(vertices: np.ndarray, faces: np.ndarray) -> Mesh:
    """Every triangle with corners of its own."""
    return vertices[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)


def joined(*parts: Mesh) -> Mesh:
    """Several meshes as one."""
    first = np.cumsum([0] + [len(vertices) for vertices, _ in parts])
    faces = [faces + start for (_, faces), start in zip(parts, first, strict=False)]
    return np.concatenate([vertices for vertices, _ in parts]), np.concatenate(faces)


def moebius_band(around: int = 60) -> Mesh:
    """A band of half a twist: one side, one rim."""
    u, v = np.meshgrid(np.arange(around) * 2 * np.pi / around, [-10.0, 0.0, 10.0])
    x = 40 + v * np.cos(u / 2)
    vertices = np.stack([x * np.cos(u), x * np.sin(u), v * np.sin(u / 2)], axis=2).reshape(-1, 3)
    faces = []
    for column in range(around):
        for row in range(2):
            a, b = row * around + column, (row + 1) * around + column
            c, d = a + 1, b + 1
            if column == around - 1:  # the last column meets the first upside down
                c, d = (2 - row) * around, (1 - row) * around
            faces += [(a, c, d), (a, d, b)]
    return vertices, np.array(faces)


def three_wings() -> Mesh:
    """Three squares on one spine: a surface that branches."""
    spine = np.array([[0.0, 0, 0], [0, 0, 40]])
    vertices, faces = list(spine), []
    for angle in np.radians([0, 120, 240]):
        out = 40 * np.array([np.cos(angle), np.sin(angle), 0])
        k = len(vertices)
        vertices += [spine[0] + out, spine[1] + out]
        faces += [(0, k, k + 1), (0, k + 1, 1)]
    return np.array(vertices), np.array(faces)


def disk_with_pin_hole() -> Mesh:
    """A disk that lacks the two faces by its middle."""
    vertices, faces = flat_disk(50.0, 10)
    return vertices, faces[2:]


def cavity() -> Mesh:
    """A hollow ball: an outward shell, and an inward one within it, big enough to be no island."""
    v, f = closed_ball()
    return joined((v, f), (0.4 * v, f[:, ::-1]))


def _turn(faces: np.ndarray, which: np.ndarray) -> np.ndarray:
    out = faces.copy()
    out[which] = out[which][:, ::-1]
    return out


def _noisy_ball_with_spikes() -> Mesh:
    v, f = closed_ball(25.0, 3)
    v = rough(v, f, 0.3, seed=3)
    v[[20, 300, 301]] *= 40.0 / np.linalg.norm(v[[20, 300, 301]], axis=1, keepdims=True)
    return v, f


def _flat_faces() -> Mesh:
    v, f = closed_box()
    middle = 0.5 * (v[0] + v[1])
    return np.concatenate([v, [middle]]), np.concatenate([f, [[0, 0, 1], [2, 3, 3], [0, 1, 8]]])


def _islands() -> Mesh:
    specks = []
    for k in range(60):
        v, f = closed_ball(0.5, 0)
        turn = k * 2.399963  # the golden angle spreads the specks
        specks.append((v + 60 * np.array([np.cos(turn), np.sin(turn), (k - 30) / 30]), f))
    return joined(closed_ball(), *specks)


def damaged_meshes() -> dict[str, Damaged]:
    """All of them, by the name of their fault."""
    ball, ball_faces = closed_ball()
    box, box_faces = closed_box()
    random = np.random.default_rng(7)
    every_seventh = np.arange(320) % 7 == 0
    near = soup(ball, ball_faces)
    near = (near[0] + random.uniform(-3e-5, 3e-5, near[0].shape), near[1])
    shifted = box + np.array([17.0, 5.0, 7.0])
    touching = soup(*joined((ball, ball_faces), (2 * ball[0] - ball, ball_faces[:, ::-1])))  # its image in a point
    t_junction = np.array([[0.0, 0, 0], [20, 0, 0], [10, 10, 0], [10, 0, 0], [0, -10, 0], [20, -10, 0]])
    sliver = np.array([[0.0, 0, 0], [100, 0, 0], [50, 1e-7, 0], [50, 50, 0]])
    patch, patch_faces = saddle(20.0, 60.0, 9)
    return {
        "soup": Damaged(Surface(*soup(ball, ball_faces)), {"M110": 798}, (162, 320)),
        "near soup": Damaged(Surface(*near), {"M110": 798}, (162, 320)),
        "flat faces": Damaged(Surface(*_flat_faces()), {"M201": 3}, (8, 12)),
        "some turned": Damaged(Surface(ball, _turn(ball_faces, every_seventh)), {"M116": 46}, (162, 320)),
        "inside out": Damaged(Surface(ball, ball_faces[:, ::-1]), {"M117": 1}, (162, 320)),
        "t-junction": Damaged(
            Surface(t_junction, [[0, 1, 2], [0, 4, 3], [3, 4, 5], [3, 5, 1]]),
            {"M118": 2, "M119": 2, "M204": 1},
            (6, 5),
            {"M119": 1},
        ),
        "touching balls": Damaged(
            Surface(*touching),
            {"M110": 1920 - 323, "M115": 1, "M118": 2},
            (323, 640),
            {"M115": 1, "M118": 2},
        ),
        "crossing boxes": Damaged(
            Surface(*joined((box, box_faces), (shifted, box_faces))),
            {"M118": 2, "M203": 12},
            (16, 24),
            {"M118": 2, "M203": 12},
        ),
        "repeated faces": Damaged(
            Surface(box, np.concatenate([box_faces, box_faces[:4, [1, 2, 0]]])), {"M112": 4}, (8, 12)
        ),
        "two-sided": Damaged(
            Surface(patch, np.concatenate([patch_faces, patch_faces[:, ::-1]])),
            {"M113": 128, "M119": 1},
            (81, 256),
            {"M113": 128, "M119": 1},
        ),
        "islands": Damaged(Surface(*_islands()), {"M301": 60}, (162, 320)),
        "strays": Damaged(Surface(np.concatenate([box, np.full((5, 3), 500.0)]), box_faces), {"M111": 5}, (8, 12)),
        "spikes": Damaged(
            Surface(*_noisy_ball_with_spikes()), {"M303": 3, "M304": 1}, (642, 1280), {"M303": 3, "M304": 1}
        ),
        "sliver": Damaged(
            Surface(sliver, [[0, 1, 2], [0, 2, 3], [2, 1, 3]]), {"M119": 1, "M202": 1}, (4, 3), {"M119": 1, "M202": 1}
        ),
        "one triangle": Damaged(
            Surface([[0, 0, 0], [10, 0, 0], [0, 10, 0]], [[0, 1, 2]]), {"M119": 1}, (3, 1), {"M119": 1}
        ),
        "one-sided": Damaged(Surface(*moebius_band()), {"M116": 240, "M119": 1}, (180, 240), {"M116": 240, "M119": 1}),
        "branching": Damaged(Surface(*three_wings()), {"M114": 1, "M119": 1}, (8, 6), {"M114": 1, "M119": 1}),
        "pin hole": Damaged(Surface(*disk_with_pin_hole()), {"M119": 2, "M302": 1}, (331, 600), {"M119": 1}),
        "cavity": Damaged(Surface(*cavity()), {"M118": 2}, (324, 640), {"M118": 2}),
        "two parts": Damaged(
            Surface(*joined(closed_torus(), (box + np.array([0.0, 0.0, 60.0]), box_faces))),
            {"M118": 2},
            (1808, 3612),
            {"M118": 2},
        ),
    }
