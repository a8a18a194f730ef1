"""The colours of a scan laid flat: the right colour at the right place, at true size, the right way round.

Closed form: on a cylinder unrolled, a colour that grows with the arc grows with x; the places of the picture are known.
"""

from __future__ import annotations

import base64
import json
import struct
import xml.etree.ElementTree as ET
from io import BytesIO

import numpy as np
import pytest
from meshes import developable_cylinder
from pdf_walk import pages
from PIL import Image

from meshflow import flatten, neutral_surface, outline, select
from meshflow.drawing import compose_part, pdf_bytes, svg_text
from meshflow.drawing.underlay import Underlay, pixel_mm, png_bytes, read_picture
from meshflow.errors import DrawingFileError, MeshFileError, OptionError
from meshflow.geometry.raster import coarser, sampled
from meshflow.geometry.transforms import inverse, move_points
from meshflow.job.run import run
from meshflow.job.texture import flat_texture
from meshflow.mesh.read import read_mesh
from meshflow.model.part import Part
from meshflow.model.surface import Surface

RADIUS, ANGLE, HEIGHT = 50.0, np.radians(120), 80.0


def wall(**said) -> Surface:
    """A third of a cylinder with its places in a picture: the arc to the right, the height upwards."""
    vertices, faces = developable_cylinder(radius=RADIUS, angle=ANGLE, height=HEIGHT, around=60, up=8)
    return Surface(vertices, faces, **said)


def shares(surface: Surface) -> np.ndarray:
    """Share of the arc and of the height of each vertex, 0 to 1."""
    turn = np.arctan2(surface.vertices[:, 1], surface.vertices[:, 0])
    return np.stack([(turn - turn.min()) / ANGLE, surface.vertices[:, 2] / HEIGHT], axis=1)


def laid(surface: Surface, *, face_up="outer") -> Part:
    region = select(surface, "all", name="wall", thickness=0.0, face_up=face_up)
    return outline(flatten(neutral_surface(region)))


def colours_at(below: Underlay, part: Part, flat) -> np.ndarray:
    """Colours of the picture at places of the flat pattern [mm]."""
    x, y = move_points(flat, part.placement_of_pattern).T
    columns = (x - below.left) / below.pixel_mm
    rows = below.pixels.shape[0] - (y - below.bottom) / below.pixel_mm
    return sampled(below.pixels, np.stack([columns, rows], axis=1))


def inner_vertices(part: Part) -> np.ndarray:
    """Vertices of the pattern two millimetres and more off its rim, whose pixels are all on the piece."""
    flat = part.pattern.vertices
    low, high = flat.min(axis=0) + 2.0, flat.max(axis=0) - 2.0
    return np.flatnonzero(((flat > low) & (flat < high)).all(axis=1))


@pytest.mark.parametrize("face_up", ["outer", "inner"])
def test_colours_of_vertices_lie_where_the_vertices_lie(face_up, tmp_path):
    plain = wall()
    share = shares(plain)
    colours = np.concatenate([share * 255, np.full((len(share), 2), [7, 255])], axis=1).round().astype(np.uint8)
    surface = wall(vertex_colours=colours)
    part = laid(surface, face_up=face_up)
    below = flat_texture(part, surface, tmp_path / "wall.ply", dpi=200)
    ids = inner_vertices(part)
    assert len(ids) > 300
    region = part.pattern.region
    home = surface.faces[region.vertex_parent[ids]]
    expected = np.einsum("ki,kic->kc", region.barycentric[ids], colours[home].astype(float))
    found = colours_at(below, part, part.pattern.vertices[ids])
    # A pixel is 0.13 mm, a step of red 0.41 mm and of green 0.31 mm.
    assert np.abs(found - expected).max() < 1.6


def test_the_picture_of_a_texture_is_unrolled_with_the_surface(tmp_path):
    """Every tenth of the picture is a tone of its own: at each place the tone of its arc and height is found."""
    rows, columns = np.mgrid[0:1000, 0:1200]
    tones = np.stack([columns // 120 * 25, (999 - rows) // 100 * 25, np.zeros_like(rows)], axis=2).astype(np.uint8)
    Image.fromarray(tones).save(tmp_path / "paint.png")
    plain = wall()
    surface = wall(texture_uv=shares(plain)[plain.faces], texture_file="paint.png")
    part = laid(surface)
    below = flat_texture(part, surface, tmp_path / "wall.obj", dpi=150)
    flat = part.pattern.vertices
    arc_axis = 0 if np.ptp(flat[:, 0]) > np.ptp(flat[:, 1]) else 1
    assert np.ptp(flat[:, arc_axis]) == pytest.approx(RADIUS * ANGLE, rel=1e-3)
    ids = inner_vertices(part)
    at = flat[ids]
    # Vertex positions fix the map from arc and height to the flat: an isometry, by its corners.
    share = shares(surface)[surface.faces[part.pattern.region.vertex_parent[ids]]]
    share = np.einsum("ki,kid->kd", part.pattern.region.barycentric[ids], share)
    clear = (np.abs(share * 10 - np.rint(share * 10)) > 0.05).all(axis=1)  # off the borders of the tones
    assert clear.sum() > 100
    expected = np.floor(share[clear] * 10) * 25
    assert np.abs(colours_at(below, part, at[clear])[:, :2] - expected).max() < 1.0


def test_off_the_pattern_the_picture_is_clear(tmp_path):
    plain = wall()
    surface = wall(vertex_colours=np.full((len(plain.vertices), 4), 200, dtype=np.uint8))
    keep = np.linalg.norm(plain.vertices[plain.faces].mean(axis=1) - plain.vertices.mean(axis=0), axis=1) < 30
    part = laid(Surface(plain.vertices, plain.faces[keep], vertex_colours=surface.vertex_colours))
    scan = Surface(plain.vertices, plain.faces[keep], vertex_colours=surface.vertex_colours)
    below = flat_texture(part, scan, tmp_path / "wall.ply", dpi=100)
    opaque = below.pixels[:, :, 3] > 0
    area = opaque.sum() * below.pixel_mm**2
    assert area == pytest.approx(part.pattern.distortion.area_flat.sum(), rel=0.01)
    assert not below.pixels[~opaque].any()


def test_colours_of_faces_are_taken_where_there_are_no_others(tmp_path):
    plain = wall()
    surface = wall(face_colours=np.full((len(plain.faces), 4), [10, 20, 30, 255], dtype=np.uint8))
    below = flat_texture(laid(surface), surface, tmp_path / "wall.ply", dpi=50)
    assert (below.pixels[below.pixels[:, :, 3] > 0] == [10, 20, 30, 255]).all()


def test_a_scan_without_colours_is_refused_with_a_way_out(tmp_path):
    surface = wall()
    with pytest.raises(MeshFileError, match="no colours"):
        flat_texture(laid(surface), surface, tmp_path / "wall.stl", dpi=100)


def test_a_picture_that_is_not_there_is_named(tmp_path):
    plain = wall()
    surface = wall(texture_uv=shares(plain)[plain.faces], texture_file="lost.png")
    with pytest.raises(MeshFileError, match=r"lost\.png"):
        flat_texture(laid(surface), surface, tmp_path / "wall.obj", dpi=100)
    (tmp_path / "lost.png").write_bytes(b"\x89PNG\r\n\x1a\nnot a picture")
    with pytest.raises(DrawingFileError, match="no picture"):
        flat_texture(laid(surface), surface, tmp_path / "wall.obj", dpi=100)


def test_a_picture_too_large_to_hold_is_refused_before_the_work(tmp_path):
    surface = Surface(*developable_cylinder(radius=3000.0, angle=ANGLE, height=3000.0, around=9, up=3))
    with pytest.raises(OptionError, match="fewer dots"):
        flat_texture(laid(surface), surface, tmp_path / "wall.ply", dpi=1200)


@pytest.mark.parametrize("dpi", [10, 72, 150, 299.9, 1200])
def test_a_png_says_its_true_size(dpi):
    """Chunk pHYs (ISO/IEC 15948, 11.3.5.3): pixels a metre, both ways, as whole numbers, unit 1."""
    side = pixel_mm(dpi)
    data = png_bytes(np.zeros((50, 80, 4), dtype=np.uint8), side)
    at = data.index(b"pHYs")
    across, up, unit = struct.unpack(">IIB", data[at + 4 : at + 13])
    assert (across, unit) == (up, 1)
    assert 80 * 1000.0 / across == pytest.approx(80 * side, rel=1e-12)
    assert abs(25.4 / side - dpi) < 0.013  # half a pixel a metre
    assert png_bytes(np.zeros((50, 80, 4), dtype=np.uint8), side) == data


def test_resolutions_out_of_range_are_refused():
    for dpi in (0, 9, 2401, float("nan")):
        with pytest.raises(OptionError, match="dots per inch"):
            pixel_mm(dpi)


def test_picture_and_lines_share_their_place_in_svg_and_pdf(backing):
    part, below = backing
    root = ET.fromstring(svg_text(compose_part(part), underlay=below))
    image = next(node for node in root.iter() if node.tag.endswith("image"))
    assert float(image.get("width")) == pytest.approx(below.width_mm, abs=1e-6)
    assert float(image.get("height")) == pytest.approx(below.height_mm, abs=1e-6)
    packed = image.get("{http://www.w3.org/1999/xlink}href").partition(",")[2]
    assert Image.open(BytesIO(base64.b64decode(packed))).size == (80, 50)
    (page,) = pages(pdf_bytes(part, underlay=below))
    (box,) = page.images
    outline = next(line.points for line in page.lines if line.tag == "CUT_OUTSIDE")
    assert box[2] - box[0] == pytest.approx(below.width_mm, abs=1e-4)
    assert box[3] - box[1] == pytest.approx(below.height_mm, abs=1e-4)
    assert box[0] - outline[:, 0].min() == pytest.approx(below.left - 0.0, abs=1e-4)
    assert box[1] - outline[:, 1].min() == pytest.approx(below.bottom - 0.0, abs=1e-4)


@pytest.fixture
def backing():
    from meshflow.model.curve import Polycurve

    part = Part("plate", Polycurve([[0, 0], [60, 0], [60, 40], [0, 40]]))
    return part, Underlay(np.full((50, 80, 4), 128, dtype=np.uint8), -2.0, -1.5, 0.8)


def glb_with_picture(path, picture: bytes, *, length: int | None = None):
    """A triangle whose picture is packed into the file, written from the standard's description."""
    places = np.array([[0, 0], [1, 0], [0, 1]], dtype="<f4").tobytes()
    points = (np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0]], dtype="<f4") * 0.1).tobytes()
    body = points + places + picture
    views = [(0, 36), (36, 24), (60, len(picture) if length is None else length)]
    described = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0, "TEXCOORD_0": 1}, "material": 0}]}],
        "materials": [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}}}],
        "textures": [{"source": 0}],
        "images": [{"bufferView": 2, "mimeType": "image/png"}],
        "buffers": [{"byteLength": len(body)}],
        "bufferViews": [{"buffer": 0, "byteOffset": at, "byteLength": size} for at, size in views],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"},
            {"bufferView": 1, "componentType": 5126, "count": 3, "type": "VEC2"},
        ],
    }
    text = json.dumps(described).encode()
    text += b" " * (-len(text) % 4)
    body += b"\0" * (-len(body) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(body), 0x004E4942) + body
    path.write_bytes(struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks)


def test_a_picture_packed_into_a_glb_is_found(tmp_path):
    image = Image.new("RGB", (10, 10), (9, 99, 199))
    stream = BytesIO()
    image.save(stream, format="PNG")
    glb_with_picture(tmp_path / "tile.glb", stream.getvalue())
    surface = read_mesh(tmp_path / "tile.glb")
    below = flat_texture(laid(surface), surface, tmp_path / "tile.glb", dpi=50)
    assert (below.pixels[below.pixels[:, :, 3] > 0] == [9, 99, 199, 255]).all()
    glb_with_picture(tmp_path / "cut.glb", stream.getvalue(), length=10**9)
    with pytest.raises(MeshFileError):
        flat_texture(laid(surface), read_mesh(tmp_path / "cut.glb"), tmp_path / "cut.glb", dpi=50)


def test_a_plane_of_grey_is_sampled_exactly_and_edges_go_on():
    rows, columns = np.mgrid[0:20, 0:30]
    plane = (2.0 * columns + 3.0 * rows)[:, :, None]
    spots = np.array([[0.5, 0.5], [7.25, 3.75], [29.5, 19.5], [14.0, 10.0]])
    expected = 2.0 * (spots[:, 0] - 0.5) + 3.0 * (spots[:, 1] - 0.5)
    assert sampled(plane, spots)[:, 0] == pytest.approx(expected, abs=1e-12)
    assert sampled(plane, [[-9.0, -9.0], [99.0, 99.0]])[:, 0].tolist() == [0.0, 2 * 29 + 3 * 19]
    assert np.isnan(sampled(plane, [[np.nan, 1.0]])).all()


def test_a_coarser_picture_keeps_its_mean():
    picture = np.arange(7 * 9 * 4, dtype=np.uint8).reshape(7, 9, 4)
    assert coarser(picture, 1) is picture
    assert coarser(picture, 3).shape == (3, 3, 4)
    assert coarser(np.full((5, 5, 4), 77, dtype=np.uint8), 2).tolist() == np.full((3, 3, 4), 77).tolist()


def test_a_photograph_is_turned_as_its_camera_was_held(tmp_path):
    image = Image.new("RGB", (40, 20), (255, 255, 255))
    exif = Image.Exif()
    exif[274] = 6  # turned a quarter to the right
    image.save(tmp_path / "held.jpg", exif=exif)
    assert read_picture((tmp_path / "held.jpg").read_bytes(), where="held.jpg").shape == (40, 20, 4)


def test_a_job_writes_the_picture_beside_the_drawing_and_under_the_print(tmp_path):
    from meshflow.mesh.write import write_mesh

    plain = wall()
    colours = np.full((len(plain.vertices), 4), [180, 120, 60, 255], dtype=np.uint8)
    write_mesh(wall(vertex_colours=colours), tmp_path / "wall.ply")
    (tmp_path / "job.toml").write_text(
        'title = "Organ case"\n[[part]]\nname = "wall"\nmesh = "wall.ply"\nunits = "mm"\nmaterial = "steel"\n'
        'thickness = 0.5\npaper = "A4"\ntexture_dpi = 100\n[nest]\neffort = 1\n[output]\npng = false\n'
    )
    result = run(tmp_path / "job.toml", out=tmp_path / "out")
    assert result.complete, [str(one.error) for one in result.refused]
    with Image.open(tmp_path / "out/patterns/wall.texture.png") as image:
        assert image.info["dpi"][0] == pytest.approx(100.0, abs=0.02)
        middle = image.getpixel((image.width // 2, image.height // 2))
    assert middle == (180, 120, 60, 255)
    assert len(pages((tmp_path / "out/patterns/wall.pdf").read_bytes())[0].images) == 1
    assert "wall.texture.png" in (tmp_path / "out/job.html").read_text(encoding="utf-8")
    first = (tmp_path / "out/patterns/wall.texture.svg").read_bytes()
    run(tmp_path / "job.toml", out=tmp_path / "again")
    assert (tmp_path / "again/patterns/wall.texture.svg").read_bytes() == first


def test_points_of_the_drawing_go_back_to_the_pattern(backing):
    part, _ = backing
    spots = np.array([[1.0, 2.0], [30.0, 4.0]])
    there = move_points(move_points(spots, part.placement_of_pattern), inverse(part.placement_of_pattern))
    assert there == pytest.approx(spots)
