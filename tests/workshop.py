"""A small workshop for tests: meshes written as files, and jobs that name them."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
from meshes import Mesh, developable_cylinder, ring_band, saddle

# A try-out beside a wall, a struck plate, a ring; three kinds of sheet. Small enough to be made in a second.
JOB = """\
title = "Organ case, left wing"

[[part]]
name = "wall"
mesh = "wall.stl"
units = "mm"
material = "steel"
thickness = "1 mm"
quantity = 3

[[part]]
name = "plate"
mesh = "plate.off"
units = "cm"
material = "copper"
thickness = 0.8
side = "outer"
process = "water_jet"

[[part]]
name = "collar"
mesh = "collar.stl"
units = "mm"
seam = "25,0,5"
material = "leather"
thickness = "3 mm"
side = "outer"
grain = 90.0
turns = [0, 180]
quantity = 2

[[sheet]]
size = "500x400"
material = "steel"
thickness = "1 mm"

[[sheet]]
size = "400x300"
material = "copper"
thickness = "0.8 mm"

[[sheet]]
size = "600x400"
material = "leather"
thickness = "3 mm"

[nest]
effort = 1

[output]
png = false
"""


def wall() -> Mesh:
    """A quarter of a cylinder, which lies flat."""
    return developable_cylinder(radius=40.0, angle=np.radians(90), height=50.0, around=10, up=6)


def plate() -> Mesh:
    """A slightly twisted square, which must be formed."""
    return saddle(half=30.0, twist=150.0, count=9)


def collar() -> Mesh:
    """A closed band, which must be opened."""
    return ring_band(radius=25.0, height=20.0, around=24, up=5)


def write_stl(path: Path, mesh: Mesh) -> Path:
    """Binary STL, in the unit of the numbers."""
    vertices, faces = mesh
    record = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["v"] = vertices[faces]
    path.write_bytes(b"organ case".ljust(80) + struct.pack("<I", len(faces)) + record.tobytes())
    return path


def write_off(path: Path, mesh: Mesh, scale: float = 1.0) -> Path:
    """OFF, with all digits."""
    vertices, faces = mesh
    lines = ["OFF", f"{len(vertices)} {len(faces)} 0"]
    lines += [" ".join(repr(float(value) * scale) for value in vertex) for vertex in vertices]
    lines += [f"3 {a} {b} {c}" for a, b, c in faces.tolist()]
    path.write_text("\n".join(lines) + "\n")
    return path


def set_up(folder: Path, job: str = JOB) -> Path:
    """Write the meshes and the job into a folder; return the job file."""
    folder.mkdir(parents=True, exist_ok=True)
    write_stl(folder / "wall.stl", wall())
    write_off(folder / "plate.off", plate(), scale=0.1)
    write_stl(folder / "collar.stl", collar())
    path = folder / "job.toml"
    path.write_text(job, encoding="utf-8")
    return path


def contents(folder: Path) -> dict[str, bytes]:
    """Every visible file of a folder by its path."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.relative_to(folder).parts[0].startswith(".")
    }
