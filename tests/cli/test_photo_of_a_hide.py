"""A hide traced over its photograph and nested on: the commands of the page, run on a photograph made for them."""

from __future__ import annotations

import json
import math
import re
import shlex
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely

from meshflow.drawing import compose_part, write_dxf
from meshflow.drawing.underlay import png_bytes, read_picture
from meshflow.model.curve import Polycurve
from meshflow.model.part import Part

PAGE = Path(__file__).parents[2] / "docs" / "how-to" / "nest-on-a-hide.md"
ANGLE = np.linspace(0.0, 2.0 * math.pi, 72, endpoint=False)
WAVE = 1.0 + 0.15 * np.cos(2.0 * ANGLE) + 0.08 * np.sin(3.0 * ANGLE)
# What lies on the floor, in mm from the lower left corner of the chalked rectangle, y up.
HIDE = np.column_stack([450.0 + 330.0 * WAVE * np.cos(ANGLE), 300.0 + 250.0 * WAVE * np.sin(ANGLE)])
SCAR = np.column_stack([520.0 + 18.0 * np.cos(ANGLE), 330.0 + 18.0 * np.sin(ANGLE)])
BELLY = np.array([[60.0, 20.0], [840.0, 20.0], [840.0, 170.0], [60.0, 170.0]])
SPINE = np.array([[120.0, 310.0], [780.0, 345.0]])
LEATHER, FLOOR = (176, 128, 82), (70, 70, 75)
WIDTH, HEIGHT = 1600, 1100


def commands() -> list[list[str]]:
    (block,) = re.findall(r"```sh\n(meshflow photo.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    return [shlex.split(line)[1:] for line in block.strip().splitlines()]


def option(words: list[str], name: str) -> str:
    return words[words.index(name) + 1]


def homography(given: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """The map of a plane photographed aslant, from four points and where they go (Hartley and Zisserman, 4.1)."""
    rows = []
    for (x, y), (u, v) in zip(given, wanted, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    return np.append(np.linalg.solve(np.array(rows), wanted.ravel()), 1.0).reshape(3, 3)


def through(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    found = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return found[:, :2] / found[:, 2:]


@pytest.fixture
def photographed(shop):
    """shoulder.png as a camera would see the floor, and lines.svg as somebody would trace it."""
    photo, _ = commands()
    pixels = np.array([[float(v) for v in word.split(",")] for word in option(photo, "--points").split()])
    width, height = (float(side) for side in option(photo, "--size").split("x"))
    floor = np.array([[0.0, height], [width, height], [width, 0.0], [0.0, 0.0]])
    seen = homography(floor, pixels)
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    places = through(np.linalg.inv(seen), np.column_stack([columns.ravel() + 0.5, rows.ravel() + 0.5]))
    leather = shapely.contains_xy(shapely.Polygon(HIDE, [SCAR]), places[:, 0], places[:, 1])
    picture = np.where(leather[:, None], LEATHER, FLOOR).astype(np.uint8).reshape(HEIGHT, WIDTH, 3)
    (shop / "shoulder.png").write_bytes(png_bytes(picture, 25.4 / 72.0))
    groups = ""
    for name, points, close in (
        ("edge", HIDE, " Z"),
        ("scar", SCAR, " Z"),
        ("GRADE_2", BELLY, " Z"),
        ("BACKBONE", SPINE, ""),
    ):
        run = " L".join(f"{x:.3f},{y:.3f}" for x, y in through(seen, points))
        groups += f'<g id="{name}" fill="none" stroke="black"><path d="M{run}{close}"/></g>'
    (shop / "lines.svg").write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}px" height="{HEIGHT}px" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<image href="shoulder.png" width="{WIDTH}" height="{HEIGHT}"/>{groups}</svg>'
    )
    strap = Polycurve(np.array([[0.0, 0.0], [180.0, 0.0], [180.0, 40.0], [0.0, 40.0]]))
    write_dxf(compose_part(Part("strap", strap)), shop / "strap.dxf")
    return shop


def lines(path: Path, layer: str) -> list[np.ndarray]:
    found = ezdxf.readfile(path).modelspace().query(f'*[layer=="{layer}"]')
    return [np.array([point[:2] for point in entity.get_points()]) for entity in found]


def test_the_commands_of_the_page_take_a_photograph_to_a_nest(meshflow, photographed):
    photo, nest = commands()
    said = meshflow(*photo)
    assert (said.code, said.err) == (0, "")
    traced = photographed / "traced" / "shoulder.trace.dxf"
    # What was drawn over the photograph comes out where it lies on the floor, on the layers it was drawn on.
    hide, scar = sorted(lines(traced, "CUT_OUTSIDE"), key=lambda points: -np.ptp(points[:, 0]))
    for found, true in ((hide, HIDE), (scar, SCAR), *zip(lines(traced, "GRADE_2"), [BELLY], strict=True)):
        assert found == pytest.approx(true, abs=0.02)  # thousandths of a pixel, at 0.9 mm each
    (spine,) = lines(traced, "BACKBONE")
    assert spine == pytest.approx(SPINE, abs=0.02)
    check_the_straightened_photograph(photographed / "traced")
    assert "<image" in (photographed / "traced" / "shoulder.trace.svg").read_text()

    said = meshflow(*nest)
    assert said.code == 0, said.err
    answer = json.loads((photographed / "sheets" / "nest.json").read_text())
    (sheet,) = answer["sheets"]
    assert len(sheet["placements"]) == int(option(nest, "--quantity").split("=")[1])
    on_floor = floor_of(sheet)
    body = shapely.Polygon(HIDE)
    for place in sheet["placements"]:
        strap = shapely.Polygon(on_floor(corners(place)))
        assert body.contains(strap)
        assert body.exterior.distance(strap) >= 8.0 - 0.05
        assert strap.distance(shapely.Polygon(SCAR)) >= 5.0 - 0.05
        assert strap.intersection(shapely.Polygon(BELLY)).area < 1.0
        # Along the backbone to five degrees, either way round.
        (x, y) = np.diff(on_floor(corners(place)), axis=0)[0]
        along = math.degrees(math.atan2(y, x)) - math.degrees(math.atan2(35.0, 660.0))
        assert abs(math.remainder(along, 180.0)) <= 5.0 + 0.01


def check_the_straightened_photograph(folder: Path) -> None:
    """Leather just inside the edge, floor just outside."""
    pixels = read_picture((folder / "shoulder.flat.png").read_bytes(), where="flat")[..., :3]
    svg = (folder / "shoulder.flat.svg").read_text()
    wide = float(re.search(r'<image[^>]* width="([^"]+)"', svg)[1])
    per_mm = pixels.shape[1] / wide
    assert per_mm == pytest.approx(150.0 / 25.4, rel=1e-3)
    # The chalked rectangle is drawn in the SVG: its upper left corner is (0, 600) of the floor.
    numbers = [float(number) for number in re.findall(r"-?[0-9.]+", re.search(r'<path[^>]* d="([^"]+)"', svg)[1])]
    corner = np.array(numbers).reshape(-1, 2).min(axis=0)
    for beyond, colour in ((-2.0, LEATHER), (2.0, FLOOR)):
        rim = shapely.Polygon(HIDE).buffer(beyond).exterior
        for place in np.linspace(0.0, 1.0, 60, endpoint=False):
            x, y = rim.interpolate(place, normalized=True).coords[0]
            column, row = ((corner + np.array([x, 600.0 - y])) * per_mm).astype(int)
            assert np.abs(pixels[row, column].astype(int) - colour).max() < 30


def corners(place: dict) -> np.ndarray:
    turn = math.radians(place["angle_deg"])
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    return np.array([[0.0, 0.0], [180.0, 0.0], [180.0, 40.0], [0.0, 40.0]]) @ matrix.T + (place["x_mm"], place["y_mm"])


def floor_of(sheet: dict):
    """The way from the sheet, turned so that its backbone runs along x, to the floor: the edge lies in both."""
    edge = np.array([row[:2] for row in sheet["edge"]["points_mm"]])
    turn = math.atan2(35.0, 660.0)
    matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    turned = edge @ matrix.T
    shift = HIDE.min(axis=0) - turned.min(axis=0)
    assert shapely.Polygon(turned + shift).symmetric_difference(shapely.Polygon(HIDE)).area < 100.0
    return lambda points: points @ matrix.T + shift
