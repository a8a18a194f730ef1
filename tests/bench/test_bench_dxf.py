"""Speed and memory of the DXF writer at a million vertices, against the least that any writer must do."""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from meshflow.drawing import dxf_bytes, write_dxf
from meshflow.model.curve import Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke

CONTOURS, VERTICES = 1000, 1000
AT_MOST = 1.5  # times the plain writer
MOST_MEMORY = 100e6  # beyond the drawing itself [bytes]


def _drawing(contours: int, vertices: int) -> Drawing:
    """Closed contours, two pieces in three being arcs."""
    turn = np.arange(vertices) * (2 * np.pi / vertices)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1) * (45.0 + 2.0 * np.cos(9 * turn))[:, None]
    bulges = np.where(np.arange(vertices) % 3 == 0, 0.0, 0.001 + 0.0005 * np.cos(turn))
    columns, rows = np.divmod(np.arange(contours), 40)
    strokes = tuple(
        Stroke(Layer.CUT_OUTSIDE, Polycurve(ring + np.array([100.0 * x + 50.0, 100.0 * y + 50.0]), bulges))
        for x, y in zip(columns, rows, strict=True)
    )
    return Drawing("rings", strokes, (3.0, 3.0, 3997.0, 3997.0))


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    return _drawing(CONTOURS, VERTICES)


def _plain_group_codes(contours: list[tuple[list[list[float]], list[float]]]) -> bytes:
    """Write the least that is a DXF file: one f-string for each vertex, no tables, no handles."""
    lines = ["  0\nSECTION\n  2\nENTITIES\n"]
    for points, bulges in contours:
        lines.append(f"  0\nLWPOLYLINE\n  8\nCUT_OUTSIDE\n 90\n{len(points)}\n 70\n1\n")
        lines += [f" 10\n{x:.6f}\n 20\n{y:.6f}\n 42\n{b!r}\n" for (x, y), b in zip(points, bulges, strict=True)]
    lines.append("  0\nENDSEC\n  0\nEOF\n")
    return "".join(lines).encode("ascii")


def _plain_old_group_codes(contours: list[tuple[list[list[float]], list[float]]]) -> bytes:
    """Write the least that is an R12 file, where each vertex is a thing of its own."""
    lines = ["  0\nSECTION\n  2\nENTITIES\n"]
    for points, bulges in contours:
        lines.append("  0\nPOLYLINE\n  8\nCUT_OUTSIDE\n 66\n1\n 70\n1\n")
        lines += [
            f"  0\nVERTEX\n  8\nCUT_OUTSIDE\n 10\n{x:.6f}\n 20\n{y:.6f}\n 42\n{b!r}\n"
            for (x, y), b in zip(points, bulges, strict=True)
        ]
        lines.append("  0\nSEQEND\n")
    lines.append("  0\nENDSEC\n  0\nEOF\n")
    return "".join(lines).encode("ascii")


@pytest.mark.parametrize(
    ("version", "plain_writer"),
    [
        ("R2010", _plain_group_codes),
        ("R2000", _plain_group_codes),
        ("R2018", _plain_group_codes),
        ("R12", _plain_old_group_codes),
    ],
)
def test_writing_costs_little_more_than_plain_group_codes(drawing: Drawing, version: str, plain_writer) -> None:
    contours = [(s.curve.points.tolist(), np.asarray(s.curve.bulges).tolist()) for s in drawing.strokes]
    dxf_bytes(Drawing("one", drawing.strokes[:1], (0, 0, 1, 1)))  # importing ezdxf is paid once, measured elsewhere
    plain = min(_seconds(lambda: plain_writer(contours)) for _ in range(3))
    ours = min(_seconds(lambda: dxf_bytes(drawing, version=version)) for _ in range(3))
    data = dxf_bytes(drawing, version=version)
    print(
        f"\n{version}: 1 M vertices, {len(data) / 1e6:.0f} MB in {ours:.2f} s, plain writer {plain:.2f} s, "
        f"ratio {ours / plain:.2f} (CPU)"
    )
    assert data.count(b"LWPOLYLINE" if version != "R12" else b"POLYLINE") == CONTOURS
    assert ours / plain <= AT_MOST


def _seconds(work) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


@pytest.mark.parametrize("version", ["R2010", "R12"])
@pytest.mark.parametrize("contours", [CONTOURS, 1], ids=["many contours", "one contour"])
def test_a_million_vertices_take_little_memory_beside_the_drawing(tmp_path: Path, version: str, contours: int) -> None:
    drawing = _drawing(contours, CONTOURS * VERTICES // contours)
    first = Stroke(Layer.CUT_OUTSIDE, Polycurve([[0, 0], [9, 0], [0, 9]]))
    write_dxf(Drawing("one", (first,), (0, 0, 9, 9)), tmp_path / "one.dxf")  # the import of ezdxf is not counted
    tracemalloc.start()
    path = write_dxf(drawing, tmp_path / "rings.dxf", version=version)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"\n{version}, {contours} contours: {path.stat().st_size / 1e6:.0f} MB written with {peak / 1e6:.0f} MB more")
    assert peak <= MOST_MEMORY


def test_the_large_file_is_legal(tmp_path: Path) -> None:
    import ezdxf

    path = tmp_path / "rings.dxf"
    path.write_bytes(dxf_bytes(_drawing(100, VERTICES)))
    document = ezdxf.readfile(path)
    assert len(document.audit().errors) == 0
    assert sum(len(entity) for entity in document.modelspace()) == 100 * VERTICES
