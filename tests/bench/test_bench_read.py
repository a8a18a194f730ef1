"""Reading and welding 1.1 million faces, against the least that numpy must do to read and weld the same bytes."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from meshes import closed_torus

from meshflow.mesh.read import read_mesh
from meshflow.mesh.weld import weld

AROUND, ABOUT = 1050, 524
VERTICES, FACES = AROUND * ABOUT, 2 * AROUND * ABOUT
MOST_TIME = 3.0  # times plain numpy
MOST_MEMORY = 6.0  # times the file
_FACET = np.dtype([("normal", "<f4", (3,)), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
_ROW = np.dtype([("count", "u1"), ("corner", "<i4", (3,))])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A closed ring of 1.1 million faces with scan noise, in single precision, as binary STL and PLY."""
    vertices, faces = closed_torus(around=AROUND, about=ABOUT)
    vertices = (vertices + np.random.default_rng(1).normal(0.0, 0.01, vertices.shape)).astype("<f4")
    path = tmp_path_factory.mktemp("big")
    facets = np.zeros(FACES, dtype=_FACET)
    facets["corner"] = vertices[faces]
    (path / "ring.stl").write_bytes(b" " * 80 + FACES.to_bytes(4, "little") + facets.tobytes())
    rows = np.zeros(FACES, dtype=_ROW)
    rows["count"], rows["corner"] = 3, faces
    head = f"ply\nformat binary_little_endian 1.0\nelement vertex {VERTICES}\n"
    head += "".join(f"property float {axis}\n" for axis in "xyz")
    head += f"element face {FACES}\nproperty list uchar int vertex_indices\nend_header\n"
    (path / "ring.ply").write_bytes(head.encode() + vertices.tobytes() + rows.tobytes())
    return path


def _plain(path: Path) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Vertices and faces by numpy alone, of a file known to be sound: no check, no note, no record of anything."""
    data = path.read_bytes()
    if path.suffix == ".stl":
        corners = np.frombuffer(data, _FACET, FACES, 84)["corner"].reshape(-1, 3)
        points, inverse = np.unique(corners, axis=0, return_inverse=True)
        return points.astype(np.float64), inverse.reshape(-1, 3)
    at = data.index(b"end_header\n") + 11
    given = np.frombuffer(data, "<f4", 3 * VERTICES, at).reshape(-1, 3)
    faces = np.frombuffer(data, _ROW, FACES, at + 12 * VERTICES)["corner"]
    points, inverse = np.unique(given, axis=0, return_inverse=True)
    return points.astype(np.float64), inverse.reshape(-1)[faces]


def _seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


@pytest.mark.parametrize("kind", ["stl", "ply"])
def test_reading_and_welding_costs_little_more_than_plain_numpy(benchmark, folder: Path, kind: str) -> None:
    path = folder / f"ring.{kind}"
    surface = weld(read_mesh(path, units="mm"))
    points, faces = _plain(path)
    assert np.array_equal(surface.vertices[surface.faces], points[faces])
    assert len(surface.vertices) == len(points)
    plain = min(_seconds(lambda: _plain(path)) for _ in range(3))
    ours = min(_seconds(lambda: weld(read_mesh(path, units="mm"))) for _ in range(3))
    benchmark.pedantic(lambda: weld(read_mesh(path, units="mm")), rounds=1)
    ratio = ours / plain
    benchmark.extra_info.update(cpu_seconds=ours, plain_cpu_seconds=plain, ratio=ratio)
    print(f"\n{kind}: {ours:.2f} s, plain numpy {plain:.2f} s, ratio {ratio:.2f} (CPU)")
    assert ratio <= MOST_TIME


_PEAK = """
import json, sys, tracemalloc
from pathlib import Path
from meshflow.mesh.read import read_mesh
from meshflow.mesh.weld import weld

def resident():
    # Not getrusage: its peak begins with that of the parent process.
    status = Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    return next((1024 * int(line.split()[1]) for line in lines if line.startswith("VmHWM:")), 0)

before, traced = resident(), sys.argv[2] == "traced"
if traced:
    tracemalloc.start()
surface = read_mesh(sys.argv[1], units="mm")
peaks = [tracemalloc.get_traced_memory()[1] if traced else resident() - before]
welded = weld(surface)
peaks.append(tracemalloc.get_traced_memory()[1] if traced else resident() - before)
print(json.dumps(peaks))
"""


@pytest.mark.parametrize("kind", ["stl", "ply"])
def test_reading_and_welding_take_no_more_memory_than_six_files(folder: Path, kind: str) -> None:
    path = folder / f"ring.{kind}"
    figures = []
    for mode in ("traced", "resident"):
        command = [sys.executable, "-c", _PEAK, str(path), mode]
        run = subprocess.run(command, capture_output=True, text=True, check=True)
        figures.append([size / path.stat().st_size for size in json.loads(run.stdout)])
    (read, both), (resident, resident_both) = figures
    print(
        f"\n{kind}: peak over the file's size: reading {read:.2f} (resident {resident:.2f}), "
        f"then welding with the surface as read still held {both:.2f} (resident {resident_both:.2f})"
    )
    assert 1.0 < read <= both <= MOST_MEMORY  # at least the file itself: the trace sees numpy's arrays
    assert resident_both <= MOST_MEMORY
