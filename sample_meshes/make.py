"""Make the demo meshes: true shape, then what a scan does to it. Run: ``python sample_meshes/make.py``.

Everything is seeded. Scan dirt: noise along the normal (about 2.5 % of the edge length), a few pin holes where single
triangles are missing, little islands floating beside the piece.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import ornaments  # noqa: E402
import shapes  # noqa: E402
import write  # noqa: E402

NOISE_SHARE = 0.025


def normals(vertices: np.ndarray, faces: np.ndarray) -> np.ndarray:
    """Return area-weighted unit normals at the vertices."""
    corner = vertices[faces]
    flat = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    total = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(total, faces[:, k], flat)
    return total / np.linalg.norm(total, axis=1, keepdims=True)


def scanned(shape: shapes.Shape, *, seed: int, holes: int, islands: int) -> shapes.Shape:
    """Return the shape as a scanner might give it."""
    vertices, faces, groups = shape
    random = np.random.default_rng(seed)
    edge = np.median(np.linalg.norm(vertices[faces[:, 1]] - vertices[faces[:, 0]], axis=1))
    outward = normals(vertices, faces)
    vertices = vertices + random.normal(0.0, NOISE_SHARE * edge, len(vertices))[:, None] * outward
    keep = np.ones(len(faces), dtype=bool)
    keep[inner_faces(faces, random, holes)] = False
    new_place = np.cumsum(keep) - 1
    groups = {name: new_place[ids[keep[ids]]] for name, ids in groups.items()}
    faces = faces[keep]
    return with_islands(vertices, faces, groups, outward, edge, random, islands)


def inner_faces(faces: np.ndarray, random: np.random.Generator, count: int) -> np.ndarray:
    """Return faces that touch no rim, a few at random."""
    ends = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    pairs, often = np.unique(ends, axis=0, return_counts=True)
    on_rim = np.isin(faces, pairs[often == 1]).any(axis=1)
    return random.choice(np.flatnonzero(~on_rim), size=count, replace=False)


def with_islands(
    vertices: np.ndarray,
    faces: np.ndarray,
    groups: dict[str, np.ndarray],
    outward: np.ndarray,
    edge: float,
    random: np.random.Generator,
    count: int,
) -> shapes.Shape:
    """Add tetrahedra of half an edge that float a little outside the piece."""
    added_vertices, added_faces = [vertices], [faces]
    tetrahedron = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]) * 0.5 * edge
    sides = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    for number, at in enumerate(random.choice(len(vertices), size=count, replace=False)):
        added_vertices.append(vertices[at] + 3.0 * edge * outward[at] + tetrahedron)
        added_faces.append(len(vertices) + 4 * number + sides)
    total = np.concatenate(added_faces)
    if groups and count:
        groups = dict(groups)
        last = list(groups)[-1]
        groups[last] = np.concatenate([groups[last], np.arange(len(faces), len(total))])
    return np.concatenate(added_vertices), total, groups


def filled(shape: shapes.Shape, name: str, *, rounds: int = 4000) -> shapes.Shape:
    """Return the shape with a group of faces stretched over like a soap film, as a hole is filled when mending."""
    vertices, faces, groups = shape
    outside = np.ones(len(faces), dtype=bool)
    outside[groups[name]] = False
    inner = np.setdiff1d(faces[~outside], faces[outside])
    ends = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    ends = ends[np.isin(ends[:, 0], inner)]
    often = np.bincount(ends[:, 0], minlength=len(vertices))[inner, None]
    vertices = vertices.copy()
    for _ in range(rounds):
        total = np.zeros_like(vertices)
        np.add.at(total, ends[:, 0], vertices[ends[:, 1]])
        vertices[inner] = total[inner] / often
    return vertices, faces, groups


def main(folder: Path = HERE) -> None:
    """Write all files."""
    folder.mkdir(parents=True, exist_ok=True)
    skirt = scanned(shapes.saddle_skirt(), seed=11, holes=3, islands=4)
    write.ply(
        folder / "saddle_skirt.ply",
        skirt,
        title="saddle skirt",
        column="label",
        numbers={"1": 1, "0": 0},
        colours=shapes.skirt_paint(skirt[0]),
    )
    write.stl(folder / "canopy_finial.stl", scanned(shapes.canopy_finial(), seed=12, holes=2, islands=3))
    write.obj(folder / "breast_plate.obj", scanned(shapes.breast_plate(), seed=13, holes=2, islands=2))
    write.glb(folder / "mirror_panel.glb", scanned(shapes.mirror_panel(), seed=14, holes=2, islands=2))
    write.threemf(folder / "neck_strap.3mf", scanned(shapes.neck_strap(), seed=15, holes=1, islands=2))
    casing = filled(scanned(shapes.pole_casing(), seed=16, holes=1, islands=2), "foot")
    write.ply(
        folder / "pole_casing.ply", casing, title="pole casing", column="evidence", numbers={"foot": 2, "seen": 0}
    )
    patch = "wear patch, drawn over the saddle skirt seen from above"
    write.dxf(folder / "wear_patch.dxf", [("DRAWN", True, shapes.PATCH_LINE)], title=patch)
    write.dxf(folder / "leather_side.dxf", shapes.leather_side(), title="side of leather, drawn round, grain side up")
    ornament = scanned(ornaments.harness_rosette(), seed=17, holes=2, islands=2)
    write.ply(folder / "harness_rosette.ply", ornament, title="harness rosette", column="label", numbers={})
    ornament = scanned(ornaments.frame_strip(), seed=18, holes=2, islands=2)
    write.ply(folder / "frame_strip.ply", ornament, title="frame strip", column="label", numbers={})
    ornament = scanned(ornaments.saddle_boss(), seed=19, holes=1, islands=2)
    write.ply(folder / "saddle_boss.ply", ornament, title="saddle boss", column="label", numbers={})


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
