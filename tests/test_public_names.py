"""The public face: one list of names that is the same everywhere, loads on first use, and does what the README says."""

from __future__ import annotations

import ast
import importlib
import inspect
import json
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from meshflow_cli.main import main
from workshop import set_up, wall

import meshflow
from meshflow.model.part import Part
from meshflow.model.region import Region
from meshflow.model.stock import Sheet
from meshflow.model.surface import Surface

ROOT = Path(__file__).resolve().parents[1]
STUB = ROOT / "meshflow" / "__init__.pyi"
# Names that the issue asks for.
ASKED = {"read_mesh", "check", "select", "flatten", "outline", "nest", "write_dxf", "write_svg", "run"}


def stub_imports():
    """Name to module, as the stub for type checkers has them."""
    found = {}
    for node in ast.parse(STUB.read_text()).body:
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                assert alias.asname == alias.name, "only `x as x` makes a name of a stub public"
                found[alias.name] = node.module
    return found


def test_the_list_of_names_is_that_of_the_stub():
    assert set(meshflow.__all__) == {"__version__", *stub_imports()}
    assert set(meshflow.__all__) >= ASKED


def test_every_name_resolves_to_what_the_stub_says():
    for name, module in stub_imports().items():
        public, defined = getattr(meshflow, name), getattr(importlib.import_module(module), name)
        # A room and its function share a name: either may come first, and both answer the same call.
        assert getattr(public, "__wrapped__", public) is getattr(defined, "__wrapped__", defined)
        assert callable(public)
        assert inspect.getdoc(getattr(public, "__wrapped__", public))


def test_no_other_name_resolves():
    with pytest.raises(AttributeError, match="module 'meshflow' has no attribute 'flaten'"):
        _ = meshflow.flaten
    assert dir(meshflow) == sorted(meshflow.__all__)


def test_the_version_is_that_of_the_package():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert meshflow.__version__ == project["version"]


def in_a_process(script):
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout.strip()


def test_importing_the_library_imports_nothing_heavy():
    heavy = "{'numpy', 'scipy', 'shapely', 'ezdxf', 'numba', 'matplotlib', 'pydantic', 'click'}"
    assert in_a_process(f"import sys, meshflow; dir(meshflow); print(sorted({heavy} & set(sys.modules)))") == "[]"


@pytest.mark.parametrize(
    "first",
    [
        "import meshflow",
        "import meshflow.flatten.isometric, meshflow.outline.contour, meshflow.nest.search",
        "from meshflow import flatten, outline, nest",
        "import meshflow; meshflow.flatten; meshflow.outline; meshflow.nest",
        "import meshflow.job.run",
    ],
)
def test_a_room_answers_calls_whatever_was_imported_before(first):
    script = f"""
{first}
import inspect, meshflow
for room in (meshflow.flatten, meshflow.outline, meshflow.nest):
    print(callable(room), next(iter(inspect.signature(room).parameters)))
"""
    assert in_a_process(script).split() == ["True", "region", "True", "pattern", "True", "parts"]


def test_the_way_from_a_scan_to_a_sheet_works_by_public_names(tmp_path):
    # Nine facets of a quarter cylinder, radius 40, height 50: a rectangle of 9 chords by 50.
    surface = meshflow.mend(Surface(*wall()))
    assert meshflow.check(surface).usable
    region = meshflow.neutral_surface(meshflow.carrier_surface(meshflow.select(surface, thickness=1.0)))
    assert isinstance(region, Region)
    part = meshflow.outline(meshflow.flatten(region))
    assert isinstance(part, Part)
    assert part.pattern.distortion.area_flat.sum() == pytest.approx(9 * 80 * np.sin(np.radians(5)) * 50, rel=1e-9)
    answer = meshflow.nest([part], [Sheet("100x100", 100.0, 100.0)])
    assert answer.verified
    meshflow.write_dxf(part, tmp_path / "wall.dxf")
    meshflow.write_svg(part, tmp_path / "wall.svg")
    assert (tmp_path / "wall.dxf").read_text().startswith("999")
    assert meshflow.run(set_up(tmp_path / "job"), out=tmp_path / "job" / "out").complete


def readme_commands():
    """The commands of the README's block that begins with ``meshflow check``."""
    blocks = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL)
    (block,) = [block for block in blocks if block.startswith("meshflow check")]
    return [shlex.split(line) for line in block.strip().splitlines()]


def test_the_readmes_commands_by_hand_run_on_the_sample_meshes(tmp_path, monkeypatch, capsys):
    for file in (ROOT / "sample_meshes").iterdir():
        if file.suffix in (".stl", ".obj", ".ply", ".glb", ".3mf", ".dxf"):
            shutil.copy(file, tmp_path / file.name)
    # The whole demo job has a test of its own: of its parts, one without pictures is enough here.
    text = (ROOT / "sample_meshes" / "carousel.toml").read_text()
    first, second = text.index("[[part]]"), text.index("[[part]]", text.index("[[part]]") + 1)
    text = text[:first] + text[first:second] + text[text.index("[[sheet]]") :] + "png = false\n"
    (tmp_path / "carousel.toml").write_text(text)
    monkeypatch.chdir(tmp_path)
    commands = readme_commands()
    names = [command[1] for command in commands]
    making = ["check", "mend", "compare", "panels", "flatten", "nest", "paper", "relief", "tool"]
    assert names == [*making, "run", "verify", "stock"]
    # Panels of a whole scan take ten seconds; the command has tests of its own, and test_docs holds its options.
    for command in (command for command in commands if command[1] != "panels"):
        assert command[0] == "meshflow"
        with pytest.raises(SystemExit) as left:
            main(command[1:])
        assert left.value.code == 0, command
    capsys.readouterr()
    assert json.loads((tmp_path / "compared/strap_mended.compare.json").read_text())["verdict"] == "within_tolerance"
    flat = json.loads((tmp_path / "flat/canopy_finial.distortion.json").read_text())
    assert flat["verdict"] == "lies_flat"
    placed = json.loads((tmp_path / "sheets/nest.json").read_text())["sheets"][0]["placements"]
    assert [(entry["part"], entry["copy"]) for entry in placed] == [("canopy_finial", copy) for copy in (1, 2, 3, 4)]
    # Modelled as a button 1.3 mm high on a sphere of 160 mm (sample_meshes/README.md); the gap is the sheet.
    relief = json.loads((tmp_path / "rosette/relief.json").read_text())
    assert relief["base"] == "sphere"
    assert relief["base_parameters"]["radius_mm"] == pytest.approx(160.0, rel=0.01)
    assert relief["height_range_mm"][1] == pytest.approx(1.3, abs=0.05)
    assert [change["what"] for change in relief["mended"]] == ["symmetrised"]
    tool = json.loads((tmp_path / "rosette-tool/tool.json").read_text())
    assert tool["kind"] == "punch"
    assert tool["gap_mm"] == 0.8
    assert tool["gap_min_mm"] > 0.8 - 0.01
    assert (tmp_path / "out/job.html").exists()
