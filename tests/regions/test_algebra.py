"""Adding, taking away, intersecting: nothing is lost, nothing counts twice, whatever cuts what.

Outside checks: areas of figures on a flat sheet by shapely (GEOS).
"""

from __future__ import annotations

import meshes
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from meshflow.errors import SelectionError
from meshflow.geometry.topology import edge_table
from meshflow.geometry.triangles import face_areas
from meshflow.model.surface import Surface
from meshflow.regions import select
from meshflow.regions.division import Division
from meshflow.regions.pick import divide
from meshflow.regions.selector import parse_selector


def divided(surface: Surface, text: str) -> Division:
    return divide(surface, parse_selector(text))[0]


def rough_saddle() -> Surface:
    vertices, faces = meshes.saddle(count=17)
    vertices = meshes.rough(vertices, faces, 0.4)
    colours = np.where(
        np.hypot(vertices[:, :1] - 8, vertices[:, 1:2]) < 17, [[200, 20, 20, 255]], [[128, 128, 128, 255]]
    )
    sets = {"label:1": np.flatnonzero(vertices[faces].mean(axis=1)[:, 0] > 5)}
    return Surface(vertices, faces, vertex_colours=colours, face_sets=sets)


SADDLE = rough_saddle()
WHOLE = float(face_areas(SADDLE.vertices, SADDLE.faces).sum())

numbers = st.floats(-30.0, 30.0).map(lambda number: round(number, 3))
points = st.integers(0, len(SADDLE.vertices) - 1).map(
    lambda index: ",".join(map(repr, SADDLE.vertices[index].tolist()))
)
planes = st.tuples(numbers, numbers, st.just(7.0), numbers).map(lambda n: "plane=" + ",".join(map(repr, n)))
# Planes through rows of vertices: every crossing lies on a vertex.
grid_planes = st.integers(-7, 7).map(lambda row: f"plane=1,0,0,{row * 80 / 16!r}")
boxes = st.tuples(numbers, numbers, st.floats(1.0, 40.0), st.floats(1.0, 40.0)).map(
    lambda n: f"box={n[0]!r},{n[1]!r},-99,{n[0] + n[2]!r},{n[1] + n[3]!r},99"
)
discs = st.tuples(points, st.floats(2.0, 25.0)).map(lambda n: f"at={n[0]} radius={n[1]!r}")
slopes = st.tuples(points, st.floats(5.0, 40.0)).map(lambda n: f"at={n[0]} slope={n[1]!r}")
terms = st.one_of(planes, grid_planes, boxes, discs, slopes, st.sampled_from(["label=1", "colour=#c81414", "all"]))


def boundary_length(vertices, faces):
    table = edge_table(faces)
    ends = vertices[table.vertices[table.boundary]]
    return float(np.linalg.norm(ends[:, 0] - ends[:, 1], axis=1).sum())


@settings(max_examples=25, deadline=None)
@given(terms, terms)
def test_areas_of_two_regions_add_up(one, two):
    a, b = (divided(SADDLE, text).area_mm2 for text in (one, two))
    both, either, less = (divided(SADDLE, f"{one} {sign} {two}") for sign in "&+-")
    assert a + b == pytest.approx(either.area_mm2 + both.area_mm2, abs=1e-9 * WHOLE)
    assert a - both.area_mm2 == pytest.approx(less.area_mm2, abs=1e-9 * WHOLE)
    areas = face_areas(either.piece.vertices, either.piece.faces)
    assert areas.sum() == pytest.approx(WHOLE, rel=1e-9)
    assert areas.min() > 0
    # Conforming: no gap opened along any cut.
    assert edge_table(either.piece.faces).face_count.max() == 2
    length = boundary_length(either.piece.vertices, either.piece.faces)
    assert length == pytest.approx(boundary_length(SADDLE.vertices, SADDLE.faces), rel=1e-9)
    corners = SADDLE.vertices[SADDLE.faces[either.piece.vertex_parent]]
    rebuilt = np.einsum("ik,ikd->id", either.piece.barycentric, corners)
    assert np.abs(rebuilt - either.piece.vertices).max() < 1e-9


@settings(max_examples=6, deadline=None)
@given(terms, terms, terms)
def test_three_regions_obey_the_laws_of_sets(a, b, c):
    def area(text):
        return divided(SADDLE, text).area_mm2

    # (A + B) - C has what A - C and B - C have, less what both have.
    apart = area(f"{a} - {c}") + area(f"{b} - {c}") - area(f"{a} & {b} - {c}")
    assert area(f"{a} + {b} - {c}") == pytest.approx(apart, abs=1e-9 * WHOLE)


def test_the_same_region_added_is_itself_and_taken_away_is_nothing():
    for text in ("at=3,4,0 radius=20", "plane=0,1,0,2.2", "box=-9,-9,-9,9,9,9", "colour=#c81414"):
        area = divided(SADDLE, text).area_mm2
        assert divided(SADDLE, f"{text} + {text}").area_mm2 == pytest.approx(area, rel=1e-12)
        assert divided(SADDLE, f"{text} - {text}").area_mm2 <= 1e-9 * WHOLE
        assert divided(SADDLE, f"{text} & all").area_mm2 == pytest.approx(area, rel=1e-12)


def test_planes_and_boxes_on_a_flat_sheet_have_the_areas_of_their_figures():
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=23))
    half = shapely.Polygon([(-40, -40), (40, -40), (40, 40), (-40, 40)])
    box = shapely.box(-13.7, -20.2, 22.2, 31.3)
    above = shapely.Polygon([(-100, 8 + 100), (100, 8 - 100), (300, 300)])  # x + y >= 8
    for text, figure in (
        ("box=-13.7,-20.2,-1,22.2,31.3,1", box),
        ("plane=1,1,0,8", half & above),
        ("box=-13.7,-20.2,-1,22.2,31.3,1 - plane=1,1,0,8", box - above),
        ("plane=1,1,0,8 & box=-13.7,-20.2,-1,22.2,31.3,1", box & above),
        ("all - box=-13.7,-20.2,-1,22.2,31.3,1 - plane=1,1,0,8", half - box - above),
    ):
        assert divided(sheet, text).area_mm2 == pytest.approx(figure.area, rel=1e-9), text


def test_two_large_faces_take_many_cuts():
    corners = np.array([[0.0, 0, 0], [900, 0, 0], [900, 700, 0], [0, 700, 0]])
    sheet = Surface(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    one, two = "at=450,340,0 radius=60", "at=520,360,0 radius=50"
    either, both = divided(sheet, f"{one} + {two}"), divided(sheet, f"{one} & {two}")
    drawn = shapely.Point(450, 340).buffer(60, quad_segs=128), shapely.Point(520, 360).buffer(50, quad_segs=128)
    assert both.area_mm2 == pytest.approx((drawn[0] & drawn[1]).area, rel=5e-3)
    whole = divided(sheet, one).area_mm2 + divided(sheet, two).area_mm2
    assert either.area_mm2 + both.area_mm2 == pytest.approx(whole, rel=1e-9)
    assert edge_table(either.piece.faces).face_count.max() == 2


def test_a_side_of_a_plane_is_the_one_its_normal_points_to():
    surface = Surface(*meshes.developable_cylinder(height=80.0))
    upper = select(surface, "plane=0,0,2,60")
    assert upper.vertices[:, 2].min() == pytest.approx(30.0, abs=1e-9)
    lower = select(surface, "plane=0,0,-1,-30")
    assert lower.vertices[:, 2].max() == pytest.approx(30.0, abs=1e-9)


def test_what_is_left_in_several_pieces_is_refused_with_a_box_round_each():
    with pytest.raises(SelectionError, match=r"picks 2 separate pieces .* & box=.* & box=") as caught:
        select(Surface(*meshes.saddle()), "all - box=-5,-50,-99,5,50,99")
    text = str(caught.value)
    part = text[text.index("& box=") :].split(", & box=")[0]
    assert select(Surface(*meshes.saddle()), f"all - box=-5,-50,-99,5,50,99 {part}").vertices[:, 0].min() >= 5 - 1e-9


def test_nothing_left_is_refused_with_the_size_of_each_term():
    with pytest.raises(SelectionError, match=r"leaves nothing .* plane=0,0,1,900 has 0 mm2\. The surface reaches from"):
        select(Surface(*meshes.saddle()), "at=0,0,0 radius=9 & plane=0,0,1,900")


def test_the_same_selector_gives_the_same_bytes():
    text = "at=3,4,0 radius=20 + box=-30,-5,-9,0,9,9 - plane=0,1,0,6 grow=1 rim=1"
    one, two = (select(SADDLE, text) for _ in range(2))
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.faces.tobytes() == two.faces.tobytes()


@pytest.mark.parametrize("share", [1e-5, 1e-3, 0.009, 0.5, 0.9995])
def test_a_plane_close_to_a_row_of_vertices_is_not_drawn_to_it(share):
    sheet = Surface(*meshes.saddle(half=40.0, twist=1e12, count=23))
    at = -40 + 80 / 22 * (7 + share)
    assert divided(sheet, f"plane=1,0,0,{at!r}").area_mm2 == pytest.approx(80 * (40 - at), rel=1e-12)
