"""Small jobs of reliefs and tools for tests: scans made from formulas, and rows that name them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface

PLATE = '[[part]]\nname = "plate"\nmesh = "plate.ply"\nunits = "mm"\nmaterial = "copper"\nthickness = "1 mm"\n'
APRON = '[[part]]\nname = "apron"\nmesh = "plate.ply"\nunits = "mm"\nmaterial = "leather"\nthickness = "2 mm"\n'
BOSS = '[[relief]]\nname = "boss"\nmesh = "boss.ply"\nunits = "mm"\npitch = "0.75 mm"\n'
BORDER = '[[relief]]\nname = "border"\nmesh = "border.ply"\nunits = "mm"\npitch = "0.5 mm"\n'
PUNCH = '[[tool]]\nname = "boss-tool"\nkind = "punch"\nrelief = "boss"\nmaterial = "copper"\nthickness = "1 mm"\n'
STRIP = (
    '[[tool]]\nname = "border-tool"\nkind = "strip"\nrelief = "border"\nmaterial = "copper"\nthickness = "0.5 mm"\n'
    'length = "1 m"\n'
)
FORMER = (
    '[[tool]]\nname = "block"\nkind = "former"\nmesh = "plate.ply"\nunits = "mm"\nthickness = "2 mm"\npitch = "2 mm"\n'
)
CAST = '[[tool]]\nname = "pattern"\nkind = "cast"\nmesh = "plate.ply"\nunits = "mm"\nthickness = "3 mm"\n'
BLANK = '[[tool]]\nname = "plate-blank"\nkind = "blank"\npart = "plate"\n'
RULE = '[[tool]]\nname = "apron-die"\nkind = "ruledie"\npart = "apron"\n'


def scan(height, *, wide: float = 30.0, deep: float = 30.0, step: float = 0.75) -> Surface:
    """A height over a rectangle about the origin as a rough scan, counter-clockwise seen from above."""
    columns, rows = round(wide / step) + 1, round(deep / step) + 1
    x, y = np.meshgrid(np.linspace(-0.5 * wide, 0.5 * wide, columns), np.linspace(-0.5 * deep, 0.5 * deep, rows))
    at = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], 2).reshape(-1, 3), np.stack([a, c, d], 2).reshape(-1, 3)])
    rough = np.random.default_rng(1).normal(0.0, 0.005, x.shape)
    return Surface(np.stack([x, y, height(x, y) + rough], axis=2).reshape(-1, 3), faces)


def boss(x, y):
    """Return a round boss on a plane."""
    return 1.2 * np.clip(1.0 - (np.hypot(x, y) / 6.0) ** 2, 0.0, None)


def border(x, y):
    """Return leaves that repeat every 12 mm along a strip with plain edges."""
    leaf = np.exp(2.0 * (np.cos(2.0 * np.pi * x / 12.0) - 1.0))
    return 0.8 * leaf * np.cos(np.pi * np.clip(y / 8.0, -0.5, 0.5)) ** 2


def bowed(x, y):
    """Return a plate that is bent a little."""
    return 0.002 * x**2


def write_scans(folder: Path) -> Path:
    """Write the scans that the rows name; return the folder."""
    write_mesh(scan(boss), folder / "boss.ply")
    write_mesh(scan(border, wide=44.0, deep=14.0, step=0.5), folder / "border.ply")
    write_mesh(scan(bowed, step=1.5), folder / "plate.ply")
    return folder


def write_job(folder: Path, *rows: str, name: str = "job.toml", head: str = "") -> Path:
    """Write a job with these rows; return its file."""
    (folder / name).write_text(
        'title = "Tools"\n' + head + "\n".join(rows) + "\n[nest]\neffort = 1\n[output]\npng = false\n", encoding="utf-8"
    )
    return folder / name
