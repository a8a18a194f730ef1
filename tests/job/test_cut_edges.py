"""Allowances, kerf and side of the rim asked for in a job, read back from the DXF files by another reader (ezdxf).

Sizes are closed forms: a cylinder wall of n facets unrolls to a rectangle 2 R n sin(angle / 2 n) wide. Faults are
planted: an allowance on the wrong side, a seam whose sides differ, a kerf put in twice; each must be seen by a check
that shares nothing with what draws the part.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import ezdxf
import meshes
import numpy as np
import pytest
import shapely
from ezdxf import path as paths

from meshflow.job.run import run
from meshflow.job.verify import verify_folder
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface
from meshflow.outline import allowance, kerf

RADIUS, ANGLE, HEIGHT, FACETS = 60.0, np.radians(90), 50.0, 60
WIDTH = 2.0 * RADIUS * FACETS * np.sin(ANGLE / (2 * FACETS))
TOLERANCE = 0.05
JOB = """\
title = "Saddle of the grey horse"
[[part]]
name = "flap"
mesh = "flap.ply"
units = "mm"
material = "leather"
thickness = "2 mm"
side = "middle"
smooth = "none"
"""
TAIL = """
[[sheet]]
size = "600x400"
material = "leather"
thickness = "2 mm"
[output]
png = false
svg = false
"""


def made(folder: Path, text: str, mesh: meshes.Mesh | None = None) -> Path:
    """Write a wall and its job, run it, return the folder of its files."""
    mesh = mesh or meshes.developable_cylinder(RADIUS, ANGLE, HEIGHT, FACETS + 1, 11)
    write_mesh(Surface(*mesh), folder / "flap.ply")
    (folder / "job.toml").write_text(JOB + text + TAIL)
    assert run(folder / "job.toml", out=folder / "out").complete
    return folder / "out"


def drawn(out: Path, layer: str) -> list[np.ndarray]:
    """Every curve of a layer as points, arcs flattened to 0.001 mm."""
    space = ezdxf.readfile(out / "patterns" / "flap.dxf").modelspace()
    found = space.query(f'*[layer=="{layer}"]')
    return [np.array([tuple(p)[:2] for p in paths.make_path(entity).flattening(0.001)]) for entity in found]


def size(*curves: np.ndarray) -> tuple[float, float]:
    """Long and short side of the box about curves."""
    spans = np.ptp(np.concatenate(curves), axis=0)
    return float(spans.max()), float(spans.min())


def strips(out: Path) -> list[float]:
    """How far outside each net line the cut runs along most of it; negative where it runs inside."""
    (cut,) = (shapely.Polygon(ring) for ring in drawn(out, "CUT_OUTSIDE"))
    widths = []
    for line in map(shapely.LineString, drawn(out, "MARK_LINE")):
        places = shapely.line_interpolate_point(line, np.linspace(0.05, 0.95, 91), normalized=True)
        away = float(np.median(shapely.distance(cut.exterior, places)))
        if line.length > 20.0 and away < 8.5:  # notches are shorter, the grain arrow lies farther in
            widths.append(away if cut.contains(places[0]) else -away)
    return widths


ALLOWANCE = '[[part.allowance]]\nalong = "{}"\nkind = "{}"\nwidth = "{}"\ncorner = "mitre"\n'
HOLE = '[[part.hole]]\nkind = "eyelet"\ndiameter = 5\nat = ["42.426407,42.426407,25"]\n'


def test_contours_of_a_job_are_net_unless_it_says_otherwise(tmp_path):
    out = made(tmp_path, HOLE)
    assert size(*drawn(out, "CUT_OUTSIDE")) == pytest.approx((WIDTH, HEIGHT), abs=2 * TOLERANCE)
    assert size(*drawn(out, "CUT_INSIDE")) == pytest.approx((5.0, 5.0), abs=0.01)
    assert verify_folder(out).passed


def test_a_kerf_in_millimetres_moves_outside_cuts_out_and_inside_cuts_in(tmp_path):
    out = made(tmp_path, 'kerf = "0.8 mm"\n' + HOLE)
    assert size(*drawn(out, "CUT_OUTSIDE")) == pytest.approx((WIDTH + 0.8, HEIGHT + 0.8), abs=2 * TOLERANCE)
    assert size(*drawn(out, "CUT_INSIDE")) == pytest.approx((4.2, 4.2), abs=0.01)
    assert "do not allow for it again" in (out / "patterns" / "flap.dxf").read_text()
    assert verify_folder(out).passed


def test_a_kerf_put_in_twice_is_seen_when_the_folder_is_verified(tmp_path, monkeypatch):
    once = kerf.compensated
    monkeypatch.setattr(
        kerf, "compensated", lambda part, width: once(replace(once(part, width), kerf_compensated_mm=0.0), width)
    )
    out = made(tmp_path, 'kerf = "0.8 mm"\n')
    assert size(*drawn(out, "CUT_OUTSIDE")) == pytest.approx((WIDTH + 1.6, HEIGHT + 1.6), abs=2 * TOLERANCE)
    found = verify_folder(out)
    assert not found.passed
    assert found.error_mm == pytest.approx(0.4, abs=TOLERANCE)


@pytest.mark.parametrize(("kind", "layer"), [("seam", "MARK_LINE"), ("turned", "FOLD_LINE")])
def test_an_allowance_widens_the_cut_and_leaves_the_net_line_as_a_mark(tmp_path, kind, layer):
    out = made(tmp_path, ALLOWANCE.format("rim", kind, "6 mm"))
    assert size(*drawn(out, "CUT_OUTSIDE")) == pytest.approx((WIDTH + 12.0, HEIGHT + 12.0), abs=2 * TOLERANCE)
    assert size(*drawn(out, layer)) == pytest.approx((WIDTH, HEIGHT), abs=1.0)
    assert verify_folder(out).passed
    assert strips(out) == ([pytest.approx(6.0, abs=2 * TOLERANCE)] if kind == "seam" else [])


def test_an_allowance_on_the_wrong_side_is_seen_by_the_reader_and_when_the_folder_is_verified(tmp_path, monkeypatch):
    def inwards(rings, strips, *, fine):
        return shapely.get_coordinates(shapely.Polygon(rings[0].points).buffer(-6.0).exterior)[:-1], [], 0

    monkeypatch.setattr(allowance, "with_strips", inwards)
    out = made(tmp_path, ALLOWANCE.format("rim", "seam", "6 mm"))
    assert min(strips(out)) == pytest.approx(-6.0, abs=2 * TOLERANCE)
    assert not verify_folder(out).passed


def band() -> meshes.Mesh:
    return meshes.ring_band()


SEAM = 'seam = "25,0,5"\n' + ALLOWANCE.format("seam-a", "seam", "4 mm")


def test_both_sides_of_a_seam_get_the_same_strip(tmp_path):
    out = made(tmp_path, SEAM, band())
    assert sorted(strips(out)) == pytest.approx([4.0, 4.0], abs=2 * TOLERANCE)


def test_a_seam_whose_sides_differ_is_seen_by_the_reader(tmp_path, monkeypatch):
    monkeypatch.setattr(allowance, "_named", lambda pattern, row: {row.along})
    out = made(tmp_path, SEAM, band())
    assert len(strips(out)) == 1


def wavy() -> tuple[meshes.Mesh, np.ndarray]:
    """The wall with its upper rim rough by a tenth of a millimetre, and its rim laid flat."""
    vertices, faces = meshes.developable_cylinder(RADIUS, ANGLE, HEIGHT, FACETS + 1, 11)
    rough = 0.1 * np.random.default_rng(5).uniform(-1.0, 1.0, FACETS + 1)
    vertices = vertices.copy()
    vertices[-(FACETS + 1) :, 2] += rough
    along = np.linspace(0.0, WIDTH, FACETS + 1)
    upper = np.stack([along, HEIGHT + rough], axis=1)
    return (vertices, faces), np.concatenate([[[0.0, 0.0], [WIDTH, 0.0]], upper[::-1]])


@pytest.mark.parametrize("fit", ["near", "full", "bare"])
def test_a_contour_that_is_full_takes_nothing_off_and_a_bare_one_adds_nothing(tmp_path, fit):
    mesh, rim = wavy()
    out = made(tmp_path, f'fit = "{fit}"\ntolerance = "0.3 mm"\n', mesh)
    (cut,) = (shapely.Polygon(ring) for ring in drawn(out, "CUT_OUTSIDE"))
    piece, area = size(rim), shapely.Polygon(rim).area
    more = (cut.area - area) / cut.length
    assert {"near": abs(more) < 0.1, "full": 0.0 < more < 0.3, "bare": -0.3 < more < 0.0}[fit]
    if fit == "full":
        assert np.all(np.array(size(*drawn(out, "CUT_OUTSIDE"))) >= np.array(piece) - 1e-3)
    if fit == "bare":
        assert np.all(np.array(size(*drawn(out, "CUT_OUTSIDE"))) <= np.array(piece) + 1e-3)
    assert verify_folder(out).passed


def test_hard_leather_is_not_turned_without_a_word(tmp_path):
    write_mesh(Surface(*meshes.developable_cylinder(RADIUS, ANGLE, HEIGHT, FACETS + 1, 11)), tmp_path / "flap.ply")
    said = {}
    for material in ("leather_veg", "leather_veg_bend", "leather_veg_soft", "leather_chrome"):
        text = JOB.replace('"leather"', f'"{material}"') + ALLOWANCE.format("rim", "turned", "8 mm") + TAIL
        (tmp_path / "job.toml").write_text(text)
        notes = run(tmp_path / "job.toml", out=tmp_path / material).made[0].part.notes
        said[material] = [note.text for note in notes if note.code == "D118"]
    assert said["leather_veg_soft"] == said["leather_chrome"] == []
    for material in ("leather_veg", "leather_veg_bend"):
        (text,) = said[material]
        assert "splits" in text
        assert "READ" in text


def test_a_hole_nearer_to_the_rim_than_a_wide_lap_is_a_hole_and_no_opening(tmp_path):
    at = RADIUS * np.cos(0.5 * ANGLE)
    lap = '[[part.allowance]]\nalong = "side-1"\nkind = "lap"\nwidth = "40 mm"\n'
    hole = f'[[part.hole]]\nkind = "eyelet"\ndiameter = "5 mm"\nat = ["{at},{at},25"]\n'
    out = made(tmp_path, lap + hole)
    assert len(drawn(out, "CUT_INSIDE")) == 1
    assert verify_folder(out).passed
