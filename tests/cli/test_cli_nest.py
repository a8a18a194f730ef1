"""``meshflow nest``: what LENGTH x WIDTH and a placement mean, its keys, its refusals."""

from __future__ import annotations

import json
import re

import ezdxf
import numpy as np
import pytest
from workshop import contents

from meshflow.drawing import compose_part, read_part, write_dxf
from meshflow.model.curve import Circle, Polycurve
from meshflow.model.part import Part

KEYS = ["schema", "sheets", "unplaced", "sheets_lower_bound", "verified", "stopped_by"]
SHEET_KEYS = ["length_mm", "width_mm", "used_length_mm", "utilisation", "placements"]
PLACEMENT_KEYS = ["part", "copy", "x_mm", "y_mm", "angle_deg", "mirrored"]


@pytest.fixture
def parts(shop):
    """An L, a rectangle that is not at the origin, and a washer, as drawings."""
    bracket = Polycurve([[0, 0], [80, 0], [80, 20], [20, 20], [20, 60], [0, 60]])
    slat = Polycurve([[-5, 7], [195, 7], [195, 37], [-5, 37]])
    washer = Circle((15, 15), 15)
    for part in (Part("bracket", bracket), Part("slat", slat), Part("washer", washer, (Circle((15, 15), 6),))):
        write_dxf(compose_part(part), shop / f"{part.name}.dxf")
    return shop


def nested(folder):
    return json.loads((folder / "nest.json").read_text())


def test_the_answer_has_the_files_and_keys_of_the_contract(meshflow, parts):
    said = meshflow("nest", "bracket.dxf", "slat.dxf", "washer.dxf", "--sheet", "400x300", "--quantity", "bracket=3",
                    "--out", "sheets")  # fmt: skip
    assert (said.code, said.err) == (0, "")
    assert sorted(contents(parts / "sheets")) == ["nest.json", "sheet-01.dxf", "sheet-01.svg"]
    answer = nested(parts / "sheets")
    assert [key for key in answer if key in KEYS] == KEYS
    assert (answer["unplaced"], answer["verified"], answer["stopped_by"]) == ([], True, "effort")
    assert answer["sheets_lower_bound"] == 1
    # Parts of 15 600 mm2 in a band of 283 mm need 55 mm, and edges less half the spacing on either side.
    assert 70 < answer["used_length_lower_bound_mm"] <= answer["sheets"][0]["used_length_mm"]
    assert answer["sheets"][0]["utilisation"] < answer["hull_utilisation_hint"] < 1.1
    (sheet,) = answer["sheets"]
    assert list(sheet) == SHEET_KEYS
    assert [list(placement) for placement in sheet["placements"]] == [PLACEMENT_KEYS] * 5
    assert [(entry["part"], entry["copy"]) for entry in sheet["placements"]] == [
        ("bracket", 1),
        ("bracket", 2),
        ("bracket", 3),
        ("slat", 1),
        ("washer", 1),
    ]


def test_a_sheet_is_length_by_width_with_its_length_along_x(meshflow, parts):
    # 250 long and 60 wide takes the slat of 200 x 30 lying; 60 long and 250 wide only standing.
    assert meshflow("nest", "slat.dxf", "--sheet", "250x60", "--turns", "0", "--out", "long").code == 0
    assert meshflow("nest", "slat.dxf", "--sheet", "60x250", "--turns", "0", "--out", "wide").code == 1
    assert meshflow("nest", "slat.dxf", "--sheet", "60x250", "--turns", "90", "--out", "wide").code == 0
    lying, standing = nested(parts / "long")["sheets"][0], nested(parts / "wide")["sheets"][0]
    assert (lying["length_mm"], lying["width_mm"]) == (250.0, 60.0)
    assert (standing["length_mm"], standing["width_mm"]) == (60.0, 250.0)
    # Used length runs along x, both margins included; utilisation is net area over used length times width.
    assert lying["used_length_mm"] == pytest.approx(10 + 200 + 10, abs=0.01)
    assert standing["used_length_mm"] == pytest.approx(10 + 30 + 10, abs=0.01)
    assert lying["utilisation"] == pytest.approx(200 * 30 / (lying["used_length_mm"] * 60), abs=1e-6)
    drawn = ezdxf.readfile(parts / "long/sheet-01.dxf").modelspace().query('*[layer=="SHEET_EDGE"]')
    corners = np.array([point for edge in drawn for point in edge.vertices()])
    assert np.ptp(corners, axis=0) == pytest.approx([250.0, 60.0])


def test_a_placement_mirrors_then_turns_about_the_drawings_origin_then_moves(meshflow, parts):
    meshflow("nest", "bracket.dxf", "slat.dxf", "--sheet", "300x170", "--quantity", "bracket=4", "--mirror",
             "--turns", "0,90,180,270,30", "--effort", "2", "--out", "sheets")  # fmt: skip
    (sheet,) = nested(parts / "sheets")["sheets"]
    drawn = ezdxf.readfile(parts / "sheets/sheet-01.dxf").modelspace().query('*[layer=="CUT_OUTSIDE"]')
    outlines = [np.array(list(outline.vertices())) for outline in drawn]
    assert len(outlines) == len(sheet["placements"]) == 5
    for placement in sheet["placements"]:  # the file lists them in the order they are cut
        points = np.array(read_part(parts / f"{placement['part']}.dxf").outline.points)
        if placement["mirrored"]:
            points = points * [-1.0, 1.0]
        turn = np.radians(placement["angle_deg"])
        points = points @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        points = points + np.array([placement["x_mm"], placement["y_mm"]])
        gaps = [np.linalg.norm(outline[:, None] - points[None], axis=2) for outline in outlines]
        assert min(max(gap.min(axis=0).max(), gap.min(axis=1).max()) for gap in gaps) < 1e-3
        assert points.min() >= 10 - 1e-3
        assert (points.max(axis=0) <= [300 - 10 + 1e-3, 170 - 10 + 1e-3]).all()
    assert any(placement["mirrored"] for placement in sheet["placements"])


def test_parts_are_not_turned_over_unless_allowed(meshflow, parts):
    meshflow("nest", "bracket.dxf", "--sheet", "300x200", "--quantity", "bracket=6", "--out", "sheets")
    placements = [entry for sheet in nested(parts / "sheets")["sheets"] for entry in sheet["placements"]]
    assert {entry["mirrored"] for entry in placements} == {False}
    assert {entry["angle_deg"] for entry in placements} <= {0.0, 90.0, 180.0, 270.0}


def test_small_parts_go_into_holes_when_that_is_asked_for(meshflow, parts):
    write_dxf(compose_part(Part("ring", Circle((50, 50), 50), (Circle((50, 50), 35),))), parts / "ring.dxf")
    for more in ((), ("--in-holes",)):
        said = meshflow("nest", "ring.dxf", "washer.dxf", "--sheet", "400x120", *more, "--out", "sheets")
        assert said.code == 0
        length = nested(parts / "sheets")["sheets"][0]["used_length_mm"]
        assert ("N130" in said.out) == bool(more)
        assert length == pytest.approx(10 + 100 + 10, abs=0.01) if more else length > 125
    assert "parts lie in holes of others: 1 washer in ring." in said.out


def test_margin_and_spacing_take_lengths(meshflow, parts):
    meshflow("nest", "slat.dxf", "--sheet", "400x300", "--quantity", "slat=2", "--turns", "0", "--margin", "2 cm",
             "--spacing", "0", "--out", "sheets")  # fmt: skip
    one, two = sorted(entry["y_mm"] for entry in nested(parts / "sheets")["sheets"][0]["placements"])
    assert one == pytest.approx(20.0 - 7.0, abs=0.01)
    assert two - one == pytest.approx(30.0, abs=0.01)


def test_pieces_without_a_place_leave_with_1_and_are_named(meshflow, parts):
    said = meshflow("nest", "bracket.dxf", "slat.dxf", "--sheet", "120x100", "--out", "sheets")
    assert said.code == 1
    assert nested(parts / "sheets")["unplaced"] == [{"part": "slat", "count": 1}]
    assert "N101  slat: " in said.out
    assert {"nest.json", "sheet-01.dxf"} <= set(contents(parts / "sheets"))


def test_several_sheets_are_numbered_and_the_bound_is_said(meshflow, parts):
    said = meshflow("nest", "slat.dxf", "--sheet", "230x60", "--quantity", "slat=3", "--out", "sheets")
    assert said.code == 0
    assert {"sheet-01.dxf", "sheet-02.dxf", "sheet-03.dxf"} <= set(contents(parts / "sheets"))
    assert len(nested(parts / "sheets")["sheets"]) == 3
    assert "3 sheets, at least " in said.out


def test_sheets_left_from_an_earlier_nest_are_named_and_left_alone(meshflow, parts):
    meshflow("nest", "slat.dxf", "--sheet", "230x60", "--quantity", "slat=3", "--out", "sheets")
    before = contents(parts / "sheets")
    said = meshflow("nest", "slat.dxf", "--sheet", "230x60", "--out", "sheets")
    assert said.code == 0
    assert said.err == (
        "not of this nest, left from an earlier run: sheet-02.dxf, sheet-02.svg, sheet-03.dxf, sheet-03.svg\n"
    )
    assert contents(parts / "sheets")["sheet-03.dxf"] == before["sheet-03.dxf"]


def test_a_stock_sheet_can_be_named_by_its_id_and_several_sizes_given(meshflow, parts):
    said = meshflow("nest", "slat.dxf", "washer.dxf", "--sheet", "a3", "--sheet", "24x12in", "--out", "sheets")
    assert said.code == 0
    (sheet,) = nested(parts / "sheets")["sheets"]
    assert (sheet["length_mm"], sheet["width_mm"]) in {(297.0, 420.0), (609.6, 304.8)}


def test_the_same_nest_twice_gives_the_same_bytes_and_the_order_of_files_does_not_matter(meshflow, parts):
    files = ["bracket.dxf", "slat.dxf", "washer.dxf"]
    for out, order in (("one", files), ("two", files[::-1])):
        meshflow("nest", *order, "--sheet", "400x300", "--quantity", "bracket=3", "--seed", "7", "--out", out)
    assert contents(parts / "one") == contents(parts / "two")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("gone.dxf",), "gone.dxf: "),
        ((".",), ""),
        (("wall.stl",), "wall.stl: "),
        (("slat.dxf", "--quantity", "slot=4"), "a number is given for slot, which no file is named "),
        (("slat.dxf", "--quantity", "slat=10001"), "10001 copies of slat? Ask for 0 to 10000.\n"),
        (("slat.dxf", "copy/slat.dxf"), "two files are named slat. Rename one, or raise the quantity.\n"),
        (("slat.dxf", "--sheet", "400 by 300"), '"400 by 300" is no sheet.'),
        (("slat.dxf", "--sheet", "0x300"), '"0x300" is no sheet: it has no area.'),
        (("slat.dxf", "--sheet", "400x300"), "sheet 400x300: the same sheet is listed twice. List it once, "),
        (("slat.dxf", "--margin", "200"), "sheet 400x300: 400 x 300 mm is no larger than its margins of 200 mm. "),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)  # fmt: skip
def test_what_makes_no_sense_leaves_with_1_and_a_sentence(meshflow, parts, arguments, sentence):
    (parts / "copy").mkdir()
    (parts / "copy/slat.dxf").write_bytes((parts / "slat.dxf").read_bytes())
    said = meshflow("nest", *arguments, "--sheet", "400x300", "--out", "sheets")
    assert (said.code, said.out) == (1, "")
    assert said.err.startswith(sentence)
    assert said.err.count("\n") == 1
    assert not (parts / "sheets").exists()


def test_an_interrupted_nest_leaves_with_130_and_changes_nothing(meshflow, parts, monkeypatch):
    import meshflow.nest as room

    meshflow("nest", "slat.dxf", "--sheet", "400x300", "--out", "sheets")
    before = contents(parts / "sheets")
    real = room.nest

    def impatient(*given, progress, **options):
        def stop(what, share):
            raise KeyboardInterrupt

        return real(*given, progress=stop, **options)

    monkeypatch.setattr(room, "nest", impatient)
    said = meshflow("nest", "slat.dxf", "washer.dxf", "--sheet", "400x300", "--out", "sheets")
    assert (said.code, said.out, said.err.strip()) == (130, "", "stopped; what was there before is unchanged.")
    assert contents(parts / "sheets") == before


BRACKET = (
    '<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="0 0 90 70"><g fill="none" stroke="black">'
    '<path d="M10 60V10h20.04"/><path d="M30 10L30 40C60 40 60 60 70 60L10 60"/>'
    '<circle cx="20" cy="50" r="4"/></g></svg>'
)


def test_an_svg_is_nested_like_a_dxf_and_what_was_mended_is_said(meshflow, shop):
    (shop / "bracket.svg").write_text(BRACKET.format(size='width="90mm" height="70mm"'))
    said = meshflow("nest", "bracket.svg", "--sheet", "400x300", "--quantity", "bracket=2", "--out", "sheets")
    assert said.code == 0
    assert "D203" in said.out
    assert "0.0400 mm" in said.out
    (sheet,) = nested(shop / "sheets")["sheets"]
    assert [placement["part"] for placement in sheet["placements"]] == ["bracket", "bracket"]
    circles = ezdxf.readfile(shop / "sheets" / "sheet-01.dxf").modelspace().query("CIRCLE")
    assert [circle.dxf.radius for circle in circles] == [4.0, 4.0]


def test_a_gap_too_wide_is_closed_only_when_asked(meshflow, shop):
    (shop / "bracket.svg").write_text(BRACKET.format(size='width="900mm" height="700mm"'))
    refused = meshflow("nest", "bracket.svg", "--sheet", "1000x900", "--out", "sheets")
    assert refused.code == 1
    assert "open contour" in refused.err
    assert meshflow("nest", "bracket.svg", "--sheet", "1000x900", "--out", "sheets", "--gap", "0.5").code == 0


def test_an_svg_in_pixels_needs_a_unit_from_the_user(meshflow, shop):
    (shop / "bracket.svg").write_text(BRACKET.format(size='width="90" height="70"'))
    refused = meshflow("nest", "bracket.svg", "--sheet", "400x300", "--out", "sheets")
    assert refused.code == 1
    assert "no size in real units" in refused.err
    assert "--units" in refused.err
    said = meshflow("nest", "bracket.svg", "--sheet", "400x300", "--out", "sheets", "--units", "px")
    assert said.code == 0
    assert meshflow("nest", "bracket.svg", "--sheet", "9x9", "--out", "s", "--units", "ell").code == 2


@pytest.fixture
def side(parts):
    """A round piece of leather with a brand in its middle, and a poor lower half."""
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 4
    space = doc.modelspace()
    space.add_circle((200, 200), 200, dxfattribs={"layer": "hide"})
    space.add_circle((200, 200), 15, dxfattribs={"layer": "brand"})
    space.add_lwpolyline([(0, 0), (400, 0), (400, 200), (0, 200)], close=True, dxfattribs={"layer": "GRADE_2"})
    doc.saveas(parts / "side.dxf")
    return parts


def test_parts_lie_on_a_hide_clear_of_its_flaws_and_on_the_grade_they_ask_for(meshflow, side):
    said = meshflow("nest", "bracket.dxf", "slat.dxf", "washer.dxf", "--hide", "side.dxf", "--clearance", "6",
                    "--quantity", "bracket=4", "--most", "washer=9", "--least-grade", "slat=1", "--turns", "0,180",
                    "--turn-play", "10", "--out", "sheets")  # fmt: skip
    assert (said.code, said.err) == (0, "")
    assert "side, 400 x 400 mm" in said.out
    (sheet,) = nested(side / "sheets")["sheets"]
    assert sheet["edge"] == {"centre_mm": [200.0, 200.0], "radius_mm": 200.0}
    assert [flaw["grade"] for flaw in sheet["flaws"]] == [0, 2]
    assert sum(place["part"] == "washer" for place in sheet["placements"]) == 9
    for place in sheet["placements"]:
        assert abs((place["angle_deg"] + 90) % 180 - 90) <= 10 + 1e-9
        if place["part"] == "slat":
            assert place["y_mm"] > 190 or place["angle_deg"] > 90
        if place["part"] == "washer":
            turn = np.radians(place["angle_deg"])
            centre = np.array([15 * (np.cos(turn) - np.sin(turn)), 15 * (np.sin(turn) + np.cos(turn))])
            away = np.linalg.norm(centre + np.array([place["x_mm"], place["y_mm"]]) - 200)
            assert 15 + 6 + 15 - 1e-3 <= away <= 200 - 10 - 15 + 1e-3


def test_there_must_be_something_to_nest_on(meshflow, parts):
    said = meshflow("nest", "slat.dxf", "--out", "sheets")
    assert said.code == 2
    assert "--sheet or a --hide" in said.err


@pytest.mark.parametrize(
    "words", [("--most", "strap=3"), ("--least-grade", "strap=1"), ("--most", "slat"), ("--turn-play", "400")]
)
def test_numbers_for_no_part_are_refused(meshflow, parts, words):
    said = meshflow("nest", "slat.dxf", "--sheet", "400x300", *words, "--out", "sheets")
    assert said.code in (1, 2)
    assert said.err
    assert not (parts / "sheets").exists()


def test_what_is_left_goes_back_into_the_rack_and_can_be_nested_on(meshflow, parts):
    said = meshflow("nest", "slat.dxf", "--sheet", "400x300", "--keep-offcuts", "100", "--out", "sheets")
    assert (said.code, said.err) == (0, "")
    files = set(contents(parts / "sheets"))
    assert {"sheet-01-offcut-1.dxf", "sheet-01-offcut-1.svg"} <= files
    again = meshflow("nest", "slat.dxf", "--hide", "sheets/sheet-01-offcut-1.dxf", "--out", "second")
    assert (again.code, again.err) == (0, "")
    # A nest that leaves nothing worth keeping names the offcuts of the earlier one and leaves them alone.
    later = meshflow("nest", "slat.dxf", "--sheet", "400x300", "--out", "sheets")
    assert later.code == 0
    assert "sheet-01-offcut-1.dxf" in later.err
    assert set(contents(parts / "sheets")) == files


def test_offcuts_of_no_size_are_refused(meshflow, parts):
    said = meshflow("nest", "slat.dxf", "--sheet", "400x300", "--keep-offcuts", "0", "--out", "sheets")
    assert said.code in (1, 2)
    assert said.err
    assert not (parts / "sheets").exists()


def test_bad_drawings_are_left_out_when_the_user_says_so_and_the_rest_is_nested(meshflow, parts):
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_lwpolyline([(0, 0), (50, 50), (50, 0), (0, 50)], close=True)
    doc.saveas(parts / "bow.dxf")
    (parts / "empty.dxf").write_text("")
    files = ("slat.dxf", "bow.dxf", "empty.dxf", "gone.dxf")
    refused = meshflow("nest", *files, "--sheet", "400x300", "--out", "sheets")
    assert refused.code == 1
    assert not (parts / "sheets").exists()
    said = meshflow("nest", *files, "--sheet", "400x300", "--leave-out", "--out", "sheets")
    assert said.code == 1
    for name in ("bow", "empty", "gone"):
        assert f"N105  {name}: left out: " in said.out
    assert [place["part"] for place in nested(parts / "sheets")["sheets"][0]["placements"]] == ["slat"]
    none = meshflow("nest", "bow.dxf", "--sheet", "400x300", "--leave-out", "--out", "other")
    assert none.code == 1
    assert none.err.startswith("bow: none of the parts is any good: ")
    assert not (parts / "other").exists()


def test_copies_of_an_earlier_nest_stay_and_the_others_are_laid_round_them(meshflow, parts):
    five = ("--sheet", "400x150", "--quantity", "bracket=5", "--quantity", "slat=2")
    assert meshflow("nest", "bracket.dxf", "slat.dxf", *five, "--out", "one").code == 0
    said = meshflow("nest", "bracket.dxf", "slat.dxf", "washer.dxf", *five, "--quantity", "washer=9", "--seed", "7",
                    "--locked", "one/nest.json", "--lock", "slat", "--lock", "bracket:3", "--out", "two")  # fmt: skip
    assert (said.code, said.err) == (0, "")
    keys = ("part", "x_mm", "y_mm", "angle_deg", "mirrored")
    old = nested(parts / "one")["sheets"][0]["placements"]
    wanted = [tuple(row[key] for key in keys) for row in old if row["part"] == "slat" or row["copy"] == 3]
    new = nested(parts / "two")["sheets"][0]["placements"]
    assert sorted(tuple(row[key] for key in keys) for row in new if row.get("locked")) == sorted(wanted)
    assert len(wanted) == 3
    assert [sum(row["part"] == name for row in new) for name in ("bracket", "slat", "washer")] == [5, 2, 9]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--locked", "one/nest.json", "--lock", "slat:4"), "N123 copy 4 of slat does not lie"),
        (("--locked", "one/nest.json", "--lock", "strap"), "N123 strap does not lie"),
        (("--locked", "slat.dxf",), "this is no nest"),
        (("--locked", "none.json",), "cannot be read"),
        (("--locked", "one/nest.json", "--sheet", "500x150"), "N123 copies lie on a sheet of 400 x 150 mm"),
        (("--locked", "one/nest.json", "--quantity", "slat=1"), "N124 slat: 2 copies are locked"),
        (("--locked", "one/nest.json", "--margin", "12"), "N125"),
        (("--lock", "slat"), "--lock needs --locked"),
    ],
)  # fmt: skip
def test_what_cannot_stay_is_named(meshflow, parts, arguments, sentence):
    two, sheet = ("--quantity", "slat=2"), ("--sheet", "400x150")
    assert meshflow("nest", "slat.dxf", *sheet, *two, "--out", "one").code == 0
    before = contents(parts)
    given = [*(() if "--quantity" in arguments else two), *(() if "--sheet" in arguments else sheet)]
    said = meshflow("nest", "slat.dxf", *arguments, *given, "--out", "two")
    assert said.code in (1, 2)
    assert sentence in said.err
    assert contents(parts) == before


def test_the_nest_that_is_read_is_never_written_over(meshflow, parts):
    assert meshflow("nest", "slat.dxf", "--sheet", "400x150", "--out", "one").code == 0
    before = contents(parts / "one")
    again = meshflow("nest", "slat.dxf", "--sheet", "400x150", "--locked", "one/nest.json", "--out", "one")
    assert again.code == 1
    assert contents(parts / "one") == before


def test_a_pair_is_laid_as_both_hands_and_neither_is_turned_over(meshflow, parts):
    said = meshflow("nest", "bracket.dxf", "slat.dxf", "--sheet", "400x300", "--quantity", "bracket=3", "--pair",
                    "bracket", "--mirror", "--out", "sheets")  # fmt: skip
    assert (said.code, said.err) == (0, "")
    assert "D150" in said.out
    rows = nested(parts / "sheets")["sheets"][0]["placements"]
    assert [sum(row["part"] == name for row in rows) for name in ("bracket", "bracket-opposite", "slat")] == [3, 3, 1]
    assert not any(row["mirrored"] for row in rows if row["part"].startswith("bracket"))
    model = ezdxf.readfile(parts / "sheets/sheet-01.dxf").modelspace()
    assert len(model.query('*[layer=="MARK_TEXT"]')) > 3 * 16  # each of the opposite hands bears its name
    unknown = meshflow("nest", "slat.dxf", "--sheet", "400x300", "--pair", "strap", "--out", "other")
    assert (unknown.code, "a pair is given for strap" in unknown.err) == (1, True)


def grained(path, rise: float) -> None:
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_lwpolyline([(0, 0), (120, 0), (120, 40), (0, 40)], close=True)
    doc.modelspace().add_line((20, 5), (60, 5 + rise), dxfattribs={"layer": "GRAIN"})
    doc.saveas(path)


def test_grain_that_contradicts_the_turns_is_named_and_left_out_when_the_user_says_so(meshflow, shop):
    grained(shop / "along.dxf", 0.0)
    grained(shop / "slanting.dxf", 30.0)
    words = ("nest", "along.dxf", "slanting.dxf", "--sheet", "400x300", "--turns", "0,180", "--out", "sheets")
    said = meshflow(*words)
    assert said.code == 1
    assert "slanting: N127 its grain contradicts its turns: drawn at 36.8699 degrees" in said.err
    assert "Allow a turn of -36.8699 or 143.13 degrees" in said.err
    assert not (shop / "sheets").exists()
    rest = meshflow(*words, "--leave-out")
    assert (rest.code, rest.err) == (1, "")
    assert "N105  slanting: left out: N127" in rest.out
    assert [row["part"] for row in nested(shop / "sheets")["sheets"][0]["placements"]] == ["along"]
    both = meshflow(*words[:-2], "--turn-play", "37", "--out", "both")
    assert both.code == 0


def test_pairs_of_parts_keep_a_distance_of_their_own(meshflow, parts):
    words = ("nest", "slat.dxf", "bracket.dxf", "--sheet", "600x80", "--turns", "0", "--out", "sheets")
    said = meshflow(*words, "--quantity", "slat=2", "--apart", "slat=1/4 in", "--apart", "slat,bracket=20mm")
    assert (said.code, said.err) == (0, "")
    answer = nested(parts / "sheets")
    assert answer["apart"] == [
        {"parts": ["bracket", "slat"], "spacing_mm": 20.0},
        {"parts": ["slat", "slat"], "spacing_mm": 6.35},
    ]
    # 60 mm of height take no two slats of 30 that keep 6.35. Two in a row, then; the first begins over the bracket's
    # foot of 80, 10 above it and so 20 off its corner. With 3 mm all round it lies over the foot, beside the upright.
    used = answer["sheets"][0]["used_length_mm"]
    assert used == pytest.approx(10 + 80 + np.sqrt(20**2 - 10**2) + 200 + 6.35 + 200 + 10, abs=0.06)
    near = meshflow(*words[:-1], "near", "--quantity", "slat=2")
    assert near.code == 0
    assert nested(parts / "near")["sheets"][0]["used_length_mm"] == pytest.approx(
        10 + 20 + 3 + 200 + 3 + 200 + 10, abs=0.01
    )


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--apart", "slat,strap=3"), 1, "N128 a distance is given for strap"),
        (("--apart", "slat=5000"), 1, "N128"),
        (("--apart", "slat"), 2, "NAME,NAME=LENGTH"),
        (("--apart", "slat,slat,slat=3"), 2, "NAME,NAME=LENGTH"),
        (("--apart", "slat=-3"), 2, "length"),
        (("--apart", "slat=3", "--apart", "slat=4"), 2, "given twice"),
    ],
)
def test_distances_that_make_no_sense_are_refused(meshflow, parts, words, code, said):
    answer = meshflow("nest", "slat.dxf", "--sheet", "400x300", *words, "--out", "sheets")
    assert answer.code == code
    assert said in answer.err
    assert not (parts / "sheets").exists()


def test_a_zone_drawn_in_a_part_keeps_off_what_is_too_poor_for_it(meshflow, shop):
    """The left half of the hide is of grade 2; only the right quarter of the strip asks for grade 1."""
    for name, drawn in {"strip": [("CUT_OUTSIDE", 0, 200, 100), ("GRADE_1", 150, 200, 100)],
                        "hide": [("edge", 0, 600, 200), ("GRADE_2", 0, 300, 200)]}.items():  # fmt: skip
        doc = ezdxf.new("R2010")
        doc.header["$INSUNITS"] = 4
        for layer, left, right, high in drawn:
            corners = [(left, 0), (right, 0), (right, high), (left, high)]
            doc.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
        doc.saveas(shop / f"{name}.dxf")
    said = meshflow("nest", "strip.dxf", "--hide", "hide.dxf", "--turns", "0", "--margin", "0", "--out", "sheets")
    assert (said.code, said.err) == (0, "")
    answer = nested(shop / "sheets")
    (place,) = answer["sheets"][0]["placements"]
    assert 150.0 <= place["x_mm"] < 150.2
    assert [zone["part"] for zone in answer["zones"]] == ["strip"]
    (zone,) = ezdxf.readfile(shop / "sheets" / "sheet-01.dxf").modelspace().query('*[layer=="GRADE_1"]')
    assert min(x for x, *_ in zone.get_points()) == pytest.approx(place["x_mm"] + 150.0)


def test_a_grade_of_the_hide_is_still_known_of_its_offcut(meshflow, shop):
    doc = ezdxf.new("R2010")
    doc.header["$INSUNITS"] = 4
    for layer, left, right, high in [("edge", 0, 600, 200), ("GRADE_2", 450, 600, 200)]:
        corners = [(left, 0), (right, 0), (right, high), (left, high)]
        doc.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
    doc.saveas(shop / "hide.dxf")
    write_dxf(compose_part(Part("panel", Polycurve([[0, 0], [150, 0], [150, 190], [0, 190]]))), shop / "panel.dxf")
    fixed = ("--margin", "2", "--turns", "0", "--least-grade", "panel=1")
    many = meshflow("nest", "panel.dxf", "--hide", "hide.dxf", *fixed, "--quantity", "panel=9", "--out", "many")
    # On 448 mm of good stuff lie two of 150 x 190, and the bound knows no shapes: all of it but the spacing.
    found = re.search(
        r"([0-9.]+) % of 11.7 dm2 usable; no layout of these parts covers more than ([0-9.]+) %", many.out
    )
    assert found is not None
    assert float(found[1]) == pytest.approx(100 * 2 * 150 * 190 / (596 * 196), abs=0.06)
    assert float(found[1]) < float(found[2]) <= 100 * 448 * 196 / (596 * 196) + 0.1
    said = meshflow("nest", "panel.dxf", "--hide", "hide.dxf", *fixed, "--keep-offcuts", "100", "--out", "one")
    assert said.code == 0
    # 596 x 196 mm are usable, and there is one panel of 150 x 190: more cannot be covered.
    assert "24.4 % of 11.7 dm2 usable; no layout of these parts covers more" in " ".join(said.out.split())
    left = "one/sheet-01-offcut-1.dxf"
    # 445 mm are left, 295 of them good: one panel, and no second beside it that would reach into the poor end.
    assert meshflow("nest", "panel.dxf", "--hide", left, *fixed, "--quantity", "panel=2", "--out", "two").code == 1
    (layout,) = nested(shop / "two")["sheets"]
    (place,) = layout["placements"]
    (zone,) = [flaw for flaw in layout["flaws"] if flaw["grade"] == 2]
    assert place["x_mm"] + 150.0 <= min(x for x, _, _ in zone["line"]["points_mm"]) + 1e-3


def test_a_corner_is_used_where_the_area_is_to_be_small(meshflow, parts):
    files = ["bracket.dxf", "washer.dxf", "--sheet", "1000x500", "--quantity", "bracket=4", "--spacing", "5"]
    said = meshflow("nest", *files, "--keep-small", "area", "--out", "corner")
    assert (said.code, said.err) == (0, "")
    (sheet,) = nested(parts / "corner")["sheets"]
    assert f"{sheet['used_length_mm']:.0f} x {sheet['used_width_mm']:.0f} mm" in said.out
    meshflow("nest", *files, "--out", "strip")
    (strip,) = nested(parts / "strip")["sheets"]
    assert sheet["used_length_mm"] * sheet["used_width_mm"] < 0.7 * strip["used_length_mm"] * 500
