"""Speed of the DXF writer, against the least that any writer of the same curves must do."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from meshflow.drawing import dxf_bytes
from meshflow.model.curve import Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke

CONTOURS, VERTICES = 100, 1000
AT_MOST = 20.0  # times the plain writer


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    """A hundred closed contours of a thousand vertices, two pieces in three being arcs."""
    turn = np.arange(VERTICES) * (2 * np.pi / VERTICES)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1) * (45.0 + 2.0 * np.cos(9 * turn))[:, None]
    bulges = np.where(np.arange(VERTICES) % 3 == 0, 0.0, 0.001 + 0.0005 * np.cos(turn))
    columns, rows = np.divmod(np.arange(CONTOURS), 10)
    strokes = tuple(
        Stroke(Layer.CUT_OUTSIDE, Polycurve(ring + np.array([100.0 * x + 50.0, 100.0 * y + 50.0]), bulges))
        for x, y in zip(columns, rows, strict=True)
    )
    return Drawing("rings", strokes, (3.0, 3.0, 997.0, 997.0))


def _plain_group_codes(contours: list[tuple[list[list[float]], list[float]]]) -> bytes:
    """Write the least that is a DXF file: one f-string for each vertex, no tables, no handles."""
    lines = ["  0\nSECTION\n  2\nENTITIES\n"]
    for points, bulges in contours:
        lines.append(f"  0\nLWPOLYLINE\n  8\nCUT_OUTSIDE\n 90\n{len(points)}\n 70\n1\n")
        lines += [f" 10\n{x:.6f}\n 20\n{y:.6f}\n 42\n{b!r}\n" for (x, y), b in zip(points, bulges, strict=True)]
    lines.append("  0\nENDSEC\n  0\nEOF\n")
    return "".join(lines).encode("ascii")


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_writing_costs_little_more_than_plain_group_codes(benchmark, drawing: Drawing, version: str) -> None:
    contours = [(s.curve.points.tolist(), np.asarray(s.curve.bulges).tolist()) for s in drawing.strokes]
    dxf_bytes(drawing, version=version)  # the import of ezdxf is paid once and measured elsewhere
    plain = min(_seconds(lambda: _plain_group_codes(contours)) for _ in range(5))
    ours = min(_seconds(lambda: dxf_bytes(drawing, version=version)) for _ in range(5))
    data = benchmark.pedantic(lambda: dxf_bytes(drawing, version=version), rounds=3)
    ratio = ours / plain
    benchmark.extra_info.update(cpu_seconds=ours, plain_cpu_seconds=plain, ratio=ratio, megabytes=len(data) / 1e6)
    print(f"\n{version}: {ours:.3f} s, plain writer {plain:.3f} s, ratio {ratio:.2f} (CPU)")
    assert data.count(b"LWPOLYLINE" if version == "R2010" else b"POLYLINE") == CONTOURS
    assert ratio <= AT_MOST


def _seconds(work) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def test_the_large_file_is_legal(drawing: Drawing, tmp_path: Path) -> None:
    import ezdxf

    path = tmp_path / "rings.dxf"
    path.write_bytes(dxf_bytes(drawing))
    document = ezdxf.readfile(path)
    assert len(document.audit().errors) == 0
    assert sum(len(entity) for entity in document.modelspace()) == CONTOURS * VERTICES
