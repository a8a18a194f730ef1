"""The DXF file itself: clean, legal, in millimetres, and the same bytes every time."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from meshflow.drawing import dxf_bytes, svg_text, write_dxf
from meshflow.errors import DrawingFileError, OptionError
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import LAYERS, Drawing, Layer, Stroke
from meshflow.model.part import Part

VERSIONS = ("R12", "R2000", "R2010", "R2018")
HANDLE = re.compile(r"^(?:  5|105)\n([0-9A-F]+)$", re.MULTILINE)


def _pairs(data: bytes) -> list[tuple[str, str]]:
    lines = data.decode("ascii").split("\n")
    assert lines.pop() == ""
    return [(code.strip(), value) for code, value in zip(lines[::2], lines[1::2], strict=True)]


def _entities(data: bytes) -> list[tuple[str, str]]:
    pairs = _pairs(data)
    start = pairs.index(("2", "ENTITIES")) + 1
    return pairs[start : pairs.index(("0", "ENDSEC"), start)]


def _header(data: bytes, name: str) -> list[tuple[str, str]]:
    pairs = _pairs(data)
    at = pairs.index(("9", name)) + 1
    end = next(i for i in range(at, len(pairs)) if pairs[i][0] in "90")
    return pairs[at:end]


@pytest.mark.parametrize("version", VERSIONS)
def test_ezdxf_audits_the_file_without_an_error(plate_drawing: Drawing, tmp_path: Path, version: str) -> None:
    import ezdxf

    document = ezdxf.readfile(write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version))
    audit = document.audit()
    assert (len(audit.errors), len(audit.fixes)) == (0, 0)
    assert document.acad_release == version


@pytest.mark.parametrize("version", VERSIONS)
def test_the_header_says_millimetres_and_the_true_extents(plate_drawing: Drawing, version: str) -> None:
    # Read raw, as a machine's controller does: $INSUNITS 4 is millimetres, $MEASUREMENT 1 metric (DXF reference).
    data = dxf_bytes(plate_drawing, version=version)
    assert _header(data, "$INSUNITS") == [("70", "4")]
    assert _header(data, "$MEASUREMENT") == [("70", "1")]
    low, high = _header(data, "$EXTMIN"), _header(data, "$EXTMAX")
    assert [float(value) for _, value in low[:2]] == [0.0, 0.0]
    # The bend mark is three quarters of a circle of radius 6 about (96, 20).
    assert [float(value) for _, value in high[:2]] == pytest.approx([102.0, 60.0], abs=1e-6)


@pytest.mark.parametrize("version", VERSIONS)
def test_handles_are_unique_and_below_the_next_free_one(plate_drawing: Drawing, version: str) -> None:
    text = dxf_bytes(plate_drawing, version=version).decode("ascii")
    (_, seed), *_ = _header(text.encode(), "$HANDSEED")
    body = text[text.index("TABLES") :]
    handles = [int(handle, 16) for handle in HANDLE.findall(body)]
    assert len(handles) == len(set(handles))
    assert max(handles) < int(seed, 16)


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_curves_stand_by_layer_in_the_order_of_work(plate_drawing: Drawing, version: str) -> None:
    shuffled = replace(plate_drawing, strokes=plate_drawing.strokes[::-1])
    for drawing in (plate_drawing, shuffled):
        layers = [Layer(value) for code, value in _entities(dxf_bytes(drawing, version=version)) if code == "8"]
        assert layers == sorted(layers, key=LAYERS.index)
        assert layers[-1] is Layer.CUT_OUTSIDE


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_only_plain_curves_are_written(plate_drawing: Drawing, version: str) -> None:
    kinds = {value for code, value in _entities(dxf_bytes(plate_drawing, version=version)) if code == "0"}
    runs = {"LWPOLYLINE"} if version == "R2010" else {"POLYLINE", "VERTEX", "SEQEND"}
    assert kinds == {"CIRCLE", "POINT"} | runs


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_layers_in_use_are_declared_in_order_and_have_no_colour_of_their_own(
    plate_drawing: Drawing, tmp_path: Path, version: str
) -> None:
    import ezdxf

    document = ezdxf.readfile(write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version))
    names = [layer.dxf.name for layer in document.layers]
    used = {str(stroke.layer) for stroke in plate_drawing.strokes}
    assert names == ["0", "Defpoints", *(str(layer) for layer in LAYERS if str(layer) in used)]
    assert {layer.dxf.color for layer in document.layers} == {7}


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_the_file_says_what_it_is_in_comments_and_extended_data(
    plate_drawing: Drawing, tmp_path: Path, version: str
) -> None:
    import ezdxf

    path = write_dxf(plate_drawing, tmp_path / "plate.dxf", version=version)
    comments = [value for code, value in _pairs(path.read_bytes()) if code == "999"]
    assert _pairs(path.read_bytes())[: len(comments)] == [("999", comment) for comment in comments]
    assert "Units: millimetres, true size." in comments
    assert "Kerf: none in the contours (net size); the shop allows for its cut." in comments
    assert f"Job: {'5e' * 32}" in comments
    outline = ezdxf.readfile(path).modelspace().query('*[layer=="CUT_OUTSIDE"]')[0]
    strings = dict(tag.value.split("=") for tag in outline.get_xdata("MESHFLOW"))
    assert strings["units"] == "mm"
    assert strings["kerf"] == "net"
    assert strings["job_hash"] == "5e" * 32
    assert strings["thickness_mm"] == "1.2"


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_coordinates_lie_on_the_grid_without_a_negative_zero(version: str) -> None:
    third = Polycurve([[-1e-9, 1 / 3], [10.0, -0.0], [10.0, 2e-7], [5.0, 9.0]], [0.0, 0.0, -0.0, 0.0])
    data = dxf_bytes(Drawing("sliver", (Stroke(Layer.CUT_OUTSIDE, third),), (0.0, 0.0, 10.0, 9.0)), version=version)
    entities = _entities(data)
    kind = "VERTEX" if version == "R12" else "LWPOLYLINE"
    first = entities[entities.index(("0", kind)) :]
    numbers = [value for code, value in first if code in ("10", "20")]
    # The third corner falls onto the second: a piece of no length is no piece.
    assert numbers == ["0.000000", "0.333333", "10.000000", "0.000000", "5.000000", "9.000000"]
    assert b"-0.0\n" not in data
    assert b"-0.000000" not in data


def test_the_same_drawing_twice_is_the_same_file(plate_drawing: Drawing) -> None:
    for version in VERSIONS:
        assert dxf_bytes(plate_drawing, version=version) == dxf_bytes(plate_drawing, version=version)
    assert svg_text(plate_drawing) == svg_text(plate_drawing)


PRINT_HASHES = """
import hashlib, sys
from meshflow.drawing import compose_part, dxf_bytes, svg_text
from meshflow.model.curve import Circle, Dot, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.part import Mark, Part

marks = tuple(Mark(layer, Dot((2.0, 3.0))) for layer in Layer if "POINT" in layer)
marks += tuple(Mark(layer, Polycurve([[1, 1], [2, 2]], closed=False)) for layer in Layer if "LINE" in layer)
part = Part("finial", Polycurve([[0, 0], [9, 0], [4, 7]], [0.1, 0, 0.3]), (Circle((4, 3), 1),), marks, "brass", 0.8)
drawing = compose_part(part, job_hash="ab12")
for data in (*(dxf_bytes(drawing, version=v) for v in ("R12", "R2000", "R2010")), svg_text(drawing).encode()):
    print(hashlib.sha256(data).hexdigest())
"""


def test_six_hash_seeds_give_one_file_of_each_version() -> None:
    # ezdxf keeps its class list in a set, whose order follows the hash seed.
    answers = set()
    for seeds in np.arange(6).reshape(-1, 3):  # three at a time
        running = [
            subprocess.Popen(
                [sys.executable, "-c", PRINT_HASHES],
                env={**os.environ, "PYTHONHASHSEED": str(seed)},
                stdout=subprocess.PIPE,
            )
            for seed in seeds
        ]
        answers |= {process.communicate(timeout=60)[0] for process in running}
        assert all(process.returncode == 0 for process in running)
    assert len(answers) == 1
    hashes = answers.pop().split()
    assert len(set(hashes)) == 4


def test_times_in_the_file_come_from_the_source_date(plate_drawing: Drawing, monkeypatch: pytest.MonkeyPatch) -> None:
    # Julian dates: 1970-01-01 00:00 is 2440587.5, 2000-01-01 00:00 is 2451544.5 (US Naval Observatory).
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    assert _header(dxf_bytes(plate_drawing), "$TDCREATE") == [("40", "2440587.5")]
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "946684800")
    assert _header(dxf_bytes(plate_drawing), "$TDUPDATE") == [("40", "2451544.5")]
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    with pytest.raises(OptionError, match="SOURCE_DATE_EPOCH"):
        dxf_bytes(plate_drawing)


def test_ids_follow_the_job_and_nothing_else(backing_plate: Part) -> None:
    from meshflow.drawing import compose_part

    ids = [_header(dxf_bytes(compose_part(backing_plate, job_hash=job)), "$VERSIONGUID") for job in ("ab", "ab", "cd")]
    assert ids[0] == ids[1] != ids[2]


def test_a_line_break_in_a_name_cannot_end_the_file_early(tmp_path: Path) -> None:
    from meshflow.drawing import read_part

    nasty = Drawing(
        "x\n  0\nEOF",
        (Stroke(Layer.CUT_OUTSIDE, Circle((0.0, 0.0), 5.0)),),
        (-5.0, -5.0, 5.0, 5.0),
        comments=("break\r\n  0\nEOF", "word " * 200),
        properties={"material": "a\n  0\nEOF\n"},
    )
    data = dxf_bytes(nasty)
    assert _pairs(data).count(("0", "EOF")) == 1
    assert max(len(value) for _, value in _pairs(data)) <= 255
    (tmp_path / "nasty.dxf").write_bytes(data)
    assert read_part(tmp_path / "nasty.dxf").material == "a 0 EOF"


def test_accents_are_spelled_in_ascii_and_other_scripts_refused() -> None:
    circle = (Stroke(Layer.CUT_OUTSIDE, Circle((0.0, 0.0), 5.0)),)
    data = dxf_bytes(Drawing("Pferd", circle, (-5, -5, 5, 5), comments=("Größe 3×2, Ø 5 µm",)))
    assert data.startswith(b"999\nGrosse 3x2, O 5 um\n")
    with pytest.raises(DrawingFileError, match=r"U\+99AC"):
        dxf_bytes(Drawing("馬", circle, (-5, -5, 5, 5), comments=("馬",)))


@pytest.mark.parametrize(
    ("curve", "said"),
    [
        (Circle((0.0, 0.0), 0.0), "radius"),
        (Circle((float("nan"), 0.0), 1.0), "finite"),
        (Circle((0.0, 0.0), float("inf")), "finite"),
        (Dot((float("inf"), 0.0)), "finite"),
        (Polycurve([[0.0, 0.0], [float("nan"), 1.0]]), "finite"),
        (Polycurve([[0.0, 0.0], [1.0, 1.0]], [float("inf"), 0.0]), "finite"),
        (Polycurve([[0.0, 0.0], [1e-9, 0.0]]), "no length"),
        (Polycurve([]), "no points"),
    ],
)
@pytest.mark.parametrize("write", [dxf_bytes, svg_text])
def test_a_curve_that_cannot_be_cut_is_refused_with_its_layer(curve, said: str, write) -> None:
    with pytest.raises(DrawingFileError, match=said) as caught:
        write(Drawing("finial", (Stroke(Layer.CUT_INSIDE, curve),), (0.0, 0.0, 1.0, 1.0)))
    assert caught.value.where == "finial, layer CUT_INSIDE"


def test_an_empty_drawing_and_an_unknown_version_are_refused(plate_drawing: Drawing) -> None:
    for write in (dxf_bytes, svg_text):
        with pytest.raises(DrawingFileError, match="nothing to draw"):
            write(Drawing("void", (), (0.0, 0.0, 0.0, 0.0)))
    with pytest.raises(OptionError, match="R14"):
        dxf_bytes(plate_drawing, version="R14")  # type: ignore[arg-type]


@pytest.mark.parametrize("version", ["R12", "R2010"])
def test_many_vertices_pass_the_audit_too(version: str) -> None:
    import io

    import ezdxf

    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    bulges = np.tile([0.0, 0.01], 200)
    strokes = tuple(Stroke(Layer.CUT_OUTSIDE, Polycurve(ring * 9 + (20 * k, 0), bulges)) for k in range(5))
    data = dxf_bytes(Drawing("rings", strokes, (-9, -9, 89, 9)), version=version)
    document = ezdxf.read(io.StringIO(data.decode("ascii")))
    assert len(document.audit().errors) == 0
    assert [len(entity) for entity in document.modelspace()] == [400] * 5


def test_an_arc_over_a_half_turn_is_written_as_two() -> None:
    # GDAL 3.12 draws arcs over three quarters of a turn at half their length, so none is written.
    keyhole = Polycurve([[-1.0, 0.0], [-1.0, -9.0], [1.0, -9.0], [1.0, 0.0]], [0.0, 0.0, 0.0, 5.0])
    pairs = _entities(dxf_bytes(Drawing("keyhole", (Stroke(Layer.CUT_INSIDE, keyhole),), (-5, -9, 5, 5))))
    bulges = [float(value) for code, value in pairs if code == "42"]
    # tan(s/4) = 5, so the halves have tan(s/8) = (sqrt(26) - 1) / 5; they meet on the axis at the height of the
    # sagitta, 5 half chords.
    assert bulges == pytest.approx([0.0, 0.0, 0.0, (26**0.5 - 1) / 5, (26**0.5 - 1) / 5])
    assert [value for code, value in pairs if code in ("10", "20")][-2:] == ["0.000000", "5.000000"]


def test_a_bulge_of_noise_is_a_straight_line() -> None:
    square = Polycurve([[0, 0], [9, 0], [9, 9], [0, 9]], [1e-17, -1e-13, 5e-324, 0.0])
    drawing = Drawing("square", (Stroke(Layer.CUT_OUTSIDE, square),), (0, 0, 9, 9))
    assert "42" not in [code for code, _ in _entities(dxf_bytes(drawing))]
    assert "A" not in svg_text(drawing).split('d="')[1].split('"')[0]
