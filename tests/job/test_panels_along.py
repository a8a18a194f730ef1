"""One region made of several panels along asked seams: matched edges, ease, notches, the order of sewing.

Where the answer comes from: the formed seam is one and the same line for both panels; networkx-free graph facts (a tree
of n panels has n - 1 seams); the DXF read back with ezdxf.
"""

from __future__ import annotations

import json

import ezdxf
import meshes
import numpy as np
import pytest

from meshflow.geometry.transforms import move_points
from meshflow.job import panels_seams
from meshflow.job.panels import panels_file
from meshflow.job.panels_edges import sewing_order
from meshflow.job.panels_seams import PanelSeam
from meshflow.mesh.write import write_mesh
from meshflow.model.surface import Surface

RADIUS = 50.0
TOP = "at=0,0,50 radius=60"


def cover(folder, *seams, radius=RADIUS, **options):
    file = write_mesh(Surface(*meshes.spherical_cap(radius, np.radians(85), 20)), folder / "dome.stl")
    return panels_file(file, out=folder / "out", units="mm", smooth="none", seams=seams, **options)


@pytest.fixture(scope="module")
def quarters(tmp_path_factory):
    """A round patch of a dome, parted by two planes through its top."""
    folder = tmp_path_factory.mktemp("quarters")
    made, _ = cover(folder, "plane=1,0,0,0", "plane=0,1,0,0", region=TOP)
    return made, folder / "out"


def test_one_region_becomes_four_panels_and_nothing_of_it_is_lost(quarters):
    found, out = quarters
    figures = json.loads((out / "dome.panels.json").read_text())
    assert found.complete
    assert len(figures["panels"]) == 4
    cap = 2 * np.pi * RADIUS**2 * (1 - np.cos(60.0 / RADIUS))  # the patch is a geodesic disc of 60 mm
    assert sum(panel["area_mm2"] for panel in figures["panels"]) == pytest.approx(cap, rel=5e-3)
    assert figures["seam_mm"] == pytest.approx(4 * 60.0, rel=5e-3)


def test_both_patterns_have_an_edge_for_each_seam_and_both_are_equally_long_on_the_form(quarters):
    found, _ = quarters
    assert [seam.name for seam in found.seams] == ["A", "B", "C", "D"]
    for seam in found.seams:
        formed, flat = [], []
        for panel in seam.panels:
            pattern = found.made[panel - 1].part.pattern
            run = pattern.edge(seam.name).vertices
            formed.append(np.linalg.norm(np.diff(pattern.region.vertices[run], axis=0), axis=1).sum())
            flat.append(np.linalg.norm(np.diff(pattern.vertices[run], axis=0), axis=1).sum())
        assert formed == pytest.approx([seam.formed_mm] * 2, rel=1e-9)
        assert flat == pytest.approx(seam.flat_mm, rel=1e-9)


def test_the_edges_of_each_pattern_follow_one_another_all_round(quarters):
    found, _ = quarters
    for made in found.made:
        pattern = made.part.pattern
        edges = pattern.edges
        assert len(edges) == 3  # two seams and the rim
        assert len({edge.name for edge in edges}) == 3
        for edge, following in zip(edges, (*edges[1:], edges[0]), strict=True):
            assert edge.vertices[-1] == following.vertices[0]
        total = sum(np.linalg.norm(np.diff(pattern.vertices[e.vertices], axis=0), axis=1).sum() for e in edges)
        assert total == pytest.approx(pattern.distortion.rim_length_flat_mm, rel=1e-12)


def test_the_ease_stands_in_the_figures_of_the_whole_and_of_either_panel(quarters):
    found, out = quarters
    whole = {seam["name"]: seam for seam in json.loads((out / "dome.panels.json").read_text())["seams"]}
    for number, made in enumerate(found.made, start=1):
        said = json.loads((out / f"{made.plan.name}.distortion.json").read_text())["seams"]
        assert len(said) == 2
        for seam in said:
            sign = 1.0 if whole[seam["name"]]["panels"][0] == number else -1.0
            assert seam["ease_mm"] == pytest.approx(sign * whole[seam["name"]]["ease_mm"], abs=1e-6)
            assert seam["ease_mm"] == pytest.approx(seam["length_a_mm"] - seam["length_b_mm"], abs=1e-6)
            assert seam["formed_mm"] == pytest.approx(whole[seam["name"]]["formed_mm"], rel=1e-6)


def notch_shares(found, out, seam, panel):
    """Shares of a seam's formed length at which the drawing of a panel has ticks, from the seam's first vertex."""
    made = found.made[panel - 1]
    pattern, drawing = made.part.pattern, ezdxf.readfile(out / f"{made.plan.name}.dxf")
    run = pattern.edge(seam.name).vertices
    flat = move_points(pattern.vertices[run], made.part.placement_of_pattern)
    formed = pattern.region.vertices[run]
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(formed, axis=0), axis=1))])
    if np.linalg.norm(formed[0] - found.surface.vertices[seam.vertices[0]]) > 1e-6:
        reached = reached[-1] - reached
    shares = []
    for entity in drawing.modelspace().query('*[layer=="MARK_LINE"]'):
        points = np.array(entity.get_points("xy"))
        for foot in points[[0, -1]]:
            along = np.diff(flat, axis=0)
            part = np.clip(((foot - flat[:-1]) * along).sum(axis=1) / (along**2).sum(axis=1), 0.0, 1.0)
            off = np.linalg.norm(flat[:-1] + part[:, None] * along - foot, axis=1)
            near = int(np.argmin(off))
            if off[near] < 0.4:  # ticks begin 0.3 mm from the edge
                shares.append((reached[near] + part[near] * (reached[near + 1] - reached[near])) / reached.max())
    return np.sort(shares)


def unmatched(found, out):
    """Seams whose notches do not stand at equal shares, a single and a double one, on both drawings."""
    wrong = []
    for seam in found.seams:
        for panel in seam.panels:
            shares = notch_shares(found, out, seam, panel)
            double = 1.0 / seam.formed_mm  # two ticks, 2 mm apart
            wanted = np.array([1 / 3, 2 / 3 - double, 2 / 3 + double])
            if len(shares) != 3 or np.abs(shares - wanted).max() > 0.004:
                wrong.append((seam.name, panel))
    return wrong


def test_notches_stand_at_equal_arc_length_on_both_drawings(quarters):
    assert not unmatched(*quarters)


def test_notches_that_are_off_on_one_panel_are_seen(tmp_path, monkeypatch):
    foot = panels_seams._foot

    def off(part, surface, seam, rim, share):
        return foot(part, surface, seam, rim, share + 0.02 * part.name.endswith("2"))

    monkeypatch.setattr(panels_seams, "_foot", off)
    made, _ = cover(tmp_path, "plane=1,0,0,0", region=TOP)
    assert unmatched(made, tmp_path / "out") == [("A", 2)]


def test_a_long_seam_bears_more_notches_the_last_of_them_double(tmp_path):
    found, _ = cover(tmp_path, "plane=1,0,0,0", radius=150.0)
    (seam,) = found.seams
    assert seam.formed_mm == pytest.approx(2 * 150.0 * np.radians(85), rel=5e-3)
    count = round(seam.formed_mm / 60.0)
    assert count == 7
    for panel in seam.panels:
        shares = notch_shares(found, tmp_path / "out", seam, panel)
        np.testing.assert_allclose(shares[:6], np.arange(1, 7) / 8, atol=2e-3)
        assert len(shares) == 8
        assert shares[6:].mean() == pytest.approx(7 / 8, abs=2e-3)


def test_seams_that_close_the_work_are_sewn_last(quarters):
    found, out = quarters
    order = sewing_order(found.seams)
    assert [closes for _, closes in order] == [False, False, False, True]  # a tree of four panels has three seams
    said = json.loads((out / "dome.panels.json").read_text())["sewing"]
    assert said == [{"name": name, "closes": closes} for name, closes in order]


def test_of_the_seams_round_a_loop_the_shortest_closes_it():
    none = np.empty(0, dtype=np.int64)
    seams = [PanelSeam(n, p, none, mm) for n, p, mm in (("A", (1, 2), 50.0), ("B", (2, 3), 20.0), ("C", (1, 3), 40.0))]
    twice = [*seams, PanelSeam("D", (1, 2), none, 45.0)]  # the same two panels meet again
    assert sewing_order(seams) == (("A", False), ("C", False), ("B", True))
    assert sewing_order(twice) == (("A", False), ("C", False), ("D", True), ("B", True))
    assert sewing_order(()) == ()


@pytest.mark.slow
def test_a_drawn_line_parts_a_region_and_the_same_run_gives_the_same_bytes(tmp_path):
    along = np.linspace(-1.3, 1.3, 9)
    rows = RADIUS * np.stack([np.sin(along), 0.1 * np.sin(3 * along), np.cos(along)], axis=1)
    (tmp_path / "seam.txt").write_text(
        "# over the top\n" + "\n".join("{:.4f} {:.4f} {:.4f}".format(*row) for row in rows)
    )
    line = f"line={tmp_path / 'seam.txt'}"
    found, published = cover(tmp_path, line, region=TOP)
    assert found.panels.count == 2
    before = {name: (tmp_path / "out" / name).read_bytes() for name in published.files}
    cover(tmp_path, line, region=TOP)
    assert before == {name: (tmp_path / "out" / name).read_bytes() for name in published.files}
    assert (tmp_path / "seam.txt").exists()


def test_a_torus_in_two_level_halves_is_two_rings_each_slit_once(tmp_path):
    file = write_mesh(Surface(*meshes.closed_torus()), tmp_path / "torus.stl")
    found, _ = panels_file(file, out=tmp_path / "out", units="mm", smooth="none", seams=["plane=0,0,1,0"])
    assert found.panels.count == 2
    assert len(found.seams) == 2  # the outer and the inner circle
    assert sorted(seam.formed_mm for seam in found.seams) == pytest.approx([2 * np.pi * 40, 2 * np.pi * 80], rel=5e-3)
    for made in found.made:
        names = {edge.name.split(".")[0] for edge in made.part.pattern.edges}
        assert names == {"A", "B", "seam-a", "seam-b"}
