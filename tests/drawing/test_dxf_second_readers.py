"""Lengths per layer, as readers other than ours see them, against the closed forms."""

from __future__ import annotations

import json
import math
import os
import shutil
import subprocess
from collections import defaultdict
from pathlib import Path

import pytest

from meshflow.drawing import write_dxf
from meshflow.model.drawing import Drawing

PPM = 1e-6
VERSIONS = ("R12", "R2000", "R2010", "R2018")

READ_WITH_NODE = """
const Parser = require('dxf-parser');
const text = require('fs').readFileSync(process.argv[1], 'utf8');
const file = new Parser().parseSync(text);
process.stdout.write(JSON.stringify({units: file.header['$INSUNITS'], entities: file.entities}));
"""

READ_WITH_OTHER_NODE = """
const dxf = require('dxf');
const text = require('fs').readFileSync(process.argv[1], 'utf8');
const helper = new (dxf.Helper || dxf.default.Helper)(text);
process.stdout.write(JSON.stringify({units: helper.parsed.header.insUnits, entities: helper.denormalised}));
"""


@pytest.mark.parametrize("version", VERSIONS)
def test_ezdxf_measures_the_length_of_each_layer(
    plate_drawing: Drawing, plate_lengths: dict[str, float], tmp_path: Path, version: str
) -> None:
    import ezdxf
    from ezdxf.math import bulge_radius

    path = write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version)
    lengths: dict[str, float] = defaultdict(float)
    for entity in ezdxf.readfile(path).modelspace():
        if entity.dxftype() == "CIRCLE":
            lengths[entity.dxf.layer] += 2 * math.pi * entity.dxf.radius
        elif entity.dxftype() == "POINT":
            lengths[entity.dxf.layer] += 0.0
        else:
            lengths[entity.dxf.layer] += sum(
                start.distance(end) if bulge == 0 else abs(4 * math.atan(bulge)) * bulge_radius(start, end, bulge)
                for start, end, bulge in _segments(entity)
            )
    assert set(lengths) == set(plate_lengths)
    for layer, length in plate_lengths.items():
        assert lengths[layer] == pytest.approx(length, rel=PPM, abs=1e-12)


def _segments(entity):
    from ezdxf.math import Vec2

    if entity.dxftype() == "LWPOLYLINE":
        rows, closed = [(Vec2(x, y), b) for x, y, b in entity.get_points("xyb")], entity.closed
    else:
        assert entity.dxftype() == "POLYLINE"
        rows, closed = [(Vec2(v.dxf.location), v.dxf.bulge) for v in entity.vertices], entity.is_closed
    pairs = zip(rows, rows[1:] + rows[:1], strict=True)
    segments = [(start, end, bulge) for (start, bulge), (end, _) in pairs]
    return segments if closed else segments[:-1]


@pytest.mark.parametrize("version", VERSIONS)
def test_gdal_measures_the_length_of_each_layer(
    plate_drawing: Drawing, plate_lengths: dict[str, float], tmp_path: Path, version: str
) -> None:
    # GDAL turns arcs into chords. At a step of a tenth of a degree a chord is shorter than its arc by
    # 1 - (sin t/2)/(t/2) = 0.13 ppm; at its default of 4 degrees it would be 200 ppm.
    import pyogrio
    import pyogrio.raw
    import shapely

    path = write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version)
    before = pyogrio.get_gdal_config_option("OGR_ARC_STEPSIZE")
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": 0.1})
    try:
        meta, _, shapes, columns = pyogrio.raw.read(path)
    finally:
        pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": before})
    layer_of = columns[list(meta["fields"]).index("Layer")]
    lengths: dict[str, float] = defaultdict(float)
    for layer, shape in zip(layer_of, shapely.from_wkb(shapes), strict=True):
        lengths[layer] += shape.length
        if layer in ("CUT_INSIDE", "CUT_OUTSIDE"):
            assert shape.is_ring
    assert set(lengths) == set(plate_lengths)
    for layer, length in plate_lengths.items():
        assert lengths[layer] == pytest.approx(length, rel=PPM, abs=1e-12)


@pytest.mark.parametrize("version", VERSIONS)
def test_a_first_npm_parser_measures_the_length_of_each_layer(
    plate_drawing: Drawing, plate_lengths: dict[str, float], tmp_path: Path, version: str
) -> None:
    # dxf-parser 1.1.2 (MIT): shares no code with ezdxf or GDAL, keeps bulges exact and shows the unit.
    path = write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version)
    file = _answer_of_node("dxf-parser", READ_WITH_NODE, path)
    lengths: dict[str, float] = defaultdict(float)
    for entity in file["entities"]:
        lengths[entity["layer"]] += _length_of_json(entity)
    assert file["units"] == 4
    assert set(lengths) == set(plate_lengths)
    for layer, length in plate_lengths.items():
        assert lengths[layer] == pytest.approx(length, rel=PPM, abs=1e-12)


@pytest.mark.parametrize("version", VERSIONS)
def test_a_second_npm_parser_measures_the_length_of_each_layer(
    plate_drawing: Drawing, plate_lengths: dict[str, float], tmp_path: Path, version: str
) -> None:
    # dxf 5.3.1 (MIT): another parser again, with names of its own.
    path = write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version)
    file = _answer_of_node("dxf", READ_WITH_OTHER_NODE, path)
    lengths: dict[str, float] = defaultdict(float)
    for entity in file["entities"]:
        radius = {"radius": entity["r"]} if "r" in entity else {}
        lengths[entity["layer"]] += _length_of_json({"shape": entity.get("closed", False), **entity, **radius})
    assert file["units"] == 4
    assert set(lengths) == set(plate_lengths)
    for layer, length in plate_lengths.items():
        assert lengths[layer] == pytest.approx(length, rel=PPM, abs=1e-12)


def _answer_of_node(package: str, script: str, path: Path) -> dict:
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    found = subprocess.run([node, "-e", f"require.resolve('{package}')"], capture_output=True, env=os.environ)
    if found.returncode:
        pytest.skip(f"node does not find the package {package} (npm install {package}, then set NODE_PATH)")
    answer = subprocess.run([node, "-e", script, str(path)], capture_output=True, check=True)
    return json.loads(answer.stdout)


def _length_of_json(entity: dict) -> float:
    if entity["type"] == "CIRCLE":
        return 2 * math.pi * entity["radius"]
    corners = entity.get("vertices", [])
    total = 0.0
    for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
        if end is corners[0] and not entity["shape"]:
            break
        chord, bulge = math.hypot(end["x"] - start["x"], end["y"] - start["y"]), start.get("bulge", 0.0)
        sweep = 4 * math.atan(abs(bulge))
        total += chord if bulge == 0 else sweep * chord / (2 * math.sin(sweep / 2))
    return total
