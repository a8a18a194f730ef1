"""A thinned stand-in for a large scan, on which panels are looked for; the scan itself stays as it is.

Terms: an edge is *collapsed* when its two ends become one vertex at its middle; its two faces vanish.

Method: the shortest edge first, as long as the surface stays a sheet of the same kind (the ends share no neighbours but
the tips of the two faces: the link condition, T. K. Dey, H. Edelsbrunner, S. Guha, D. Nekhayev, "Topology preserving
edge contraction", 1999), its rim keeps its place, and no face turns by over 45 degrees.
"""

from __future__ import annotations

import heapq

import numpy as np

from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import face_areas, face_normals
from meshflow.model.arrays import FloatArray, IntArray

__all__ = ["coarsened", "nearest_labels"]

_LEAST_COSINE = float(np.cos(np.radians(45.0)))


def coarsened(vertices: FloatArray, faces: IntArray, target: int) -> tuple[FloatArray, IntArray]:
    """Collapse edges until no more than `target` faces are left, or none can be collapsed.

    Parameters
    ----------
    vertices : (n, 3) float array
        Positions [mm].
    faces : (m, 3) int array
        Vertex indices.
    target : int
        Faces wanted.

    Returns
    -------
    vertices : (n', 3) float array
        Positions [mm].
    faces : (m', 3) int array
        Vertex indices.
    """
    if len(faces) <= target:
        return vertices, faces
    work = _Collapse(vertices, faces)
    work.run(target)
    left = np.array([face for face in work.corners if face is not None], dtype=np.int64)
    used, local = np.unique(left, return_inverse=True)
    return np.array([work.place[vertex] for vertex in used.tolist()]), local.reshape(-1, 3)


def nearest_labels(
    vertices: FloatArray, faces: IntArray, coarse_vertices: FloatArray, coarse_faces: IntArray, label: IntArray
) -> IntArray:
    """Return for each face the label of the coarse face that lies nearest and looks the same way."""
    from scipy.spatial import cKDTree

    reach = 2.0 * float(np.sqrt(face_areas(coarse_vertices, coarse_faces).mean()))

    def features(points: FloatArray, triangles: IntArray) -> FloatArray:
        return np.concatenate([points[triangles].mean(axis=1), reach * face_normals(points, triangles)], axis=1)

    _, nearest = cKDTree(features(coarse_vertices, coarse_faces)).query(features(vertices, faces))
    return np.asarray(label[nearest])


class _Collapse:
    """A mesh in lists, thinned one edge at a time."""

    def __init__(self, vertices: FloatArray, faces: IntArray) -> None:
        self.place: list[list[float]] = vertices.tolist()
        self.corners: list[tuple[int, int, int] | None] = [tuple(face) for face in faces.tolist()]
        self.around: list[set[int]] = [set() for _ in range(len(vertices))]
        for face, corners in enumerate(faces.tolist()):
            for vertex in corners:
                self.around[vertex].add(face)
        table = edge_table(faces)
        odd = table.vertices[table.face_count != 2]
        self.kept = np.zeros(len(vertices), dtype=bool)
        self.kept[odd] = True
        self.count = len(faces)
        self.stamp = [0] * len(vertices)
        self.queue: list[tuple[float, int, int, int, int]] = []
        for one, two in table.vertices.tolist():
            self._offer(one, two)
        heapq.heapify(self.queue)

    def _offer(self, one: int, two: int, *, push: bool = False) -> None:
        if self.kept[one] or self.kept[two]:
            return
        low, high = (one, two) if one < two else (two, one)
        item = (_square(self.place[one], self.place[two]), low, high, self.stamp[low], self.stamp[high])
        if push:
            heapq.heappush(self.queue, item)
        else:
            self.queue.append(item)

    def run(self, target: int) -> None:
        while self.count > target and self.queue:
            _, one, two, first, second = heapq.heappop(self.queue)
            if self.stamp[one] == first and self.stamp[two] == second:
                self._try(one, two)

    def _neighbours(self, vertex: int) -> set[int]:
        return {corner for face in self.around[vertex] for corner in self.corners[face] or ()} - {vertex}

    def _try(self, one: int, two: int) -> None:
        shared = self.around[one] & self.around[two]
        if len(shared) != 2 or len(self._neighbours(one) & self._neighbours(two)) != 2:
            return
        middle = [0.5 * (p + q) for p, q in zip(self.place[one], self.place[two], strict=True)]
        if not all(self._keeps_facing(face, one, two, middle) for face in (self.around[one] ^ self.around[two])):
            return
        for face in shared:
            for vertex in self.corners[face] or ():
                self.around[vertex].discard(face)
            self.corners[face] = None
        self.count -= 2
        self.place[one] = middle
        for face in sorted(self.around[two]):
            a, b, c = self.corners[face] or (0, 0, 0)
            self.corners[face] = (one if a == two else a, one if b == two else b, one if c == two else c)
            self.around[one].add(face)
        self.around[two] = set()
        self.stamp[two] = -1
        self.stamp[one] += 1
        for vertex in sorted(self._neighbours(one)):
            self._offer(one, vertex, push=True)

    def _keeps_facing(self, face: int, one: int, two: int, middle: list[float]) -> bool:
        corners = self.corners[face] or (0, 0, 0)
        before = [self.place[vertex] for vertex in corners]
        after = [middle if vertex in (one, two) else self.place[vertex] for vertex in corners]
        old, new = _normal(before), _normal(after)
        size = (old[0] ** 2 + old[1] ** 2 + old[2] ** 2) * (new[0] ** 2 + new[1] ** 2 + new[2] ** 2)
        along = old[0] * new[0] + old[1] * new[1] + old[2] * new[2]
        return bool(along > 0 and along * along > _LEAST_COSINE**2 * size)


def _square(one: list[float], two: list[float]) -> float:
    return (one[0] - two[0]) ** 2 + (one[1] - two[1]) ** 2 + (one[2] - two[2]) ** 2


def _normal(corner: list[list[float]]) -> tuple[float, float, float]:
    """Cross product of two sides, number by number: numpy's own costs ten times as much for one face."""
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = corner
    px, py, pz, qx, qy, qz = bx - ax, by - ay, bz - az, cx - ax, cy - ay, cz - az
    return py * qz - pz * qy, pz * qx - px * qz, px * qy - py * qx
