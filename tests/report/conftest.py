"""Three parts of the carousel workshop, laid flat by formulas, so that their stretch is known without a solver."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from meshes import grid_faces, spherical_cap, whole_region

from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import face_areas
from meshflow.model.curve import Motion, Polycurve
from meshflow.model.drawing import Layer
from meshflow.model.finding import Finding, Severity
from meshflow.model.layout import Nest, Placement, SheetLayout
from meshflow.model.part import Mark, Part
from meshflow.model.pattern import Distortion, Edge, FlatPattern, Limits, Seam, Verdict
from meshflow.model.region import Smoothing
from meshflow.model.stock import Fact, Sheet
from meshflow.report import Caution, DocumentInput, FileLink, NestEntry, PartEntry, ScanEntry

LEATHER = Limits(0.12, 0.05, 3.0, "wet forming of shoulder leather, COMMON_PRACTICE")
COPPER = Limits(0.20, 0.10, 0.8, "annealed copper between courses, COMMON_PRACTICE")


def pattern_of(space, plane, faces, *, name, limits, verdict, tightest=np.inf, **fields):
    """A pattern from positions in space and on the flat; stretches from the singular values of the map of each face."""
    region_fields = {
        k: fields.pop(k) for k in ("thickness", "side", "face_up", "smoothing", "offset_mm") if k in fields
    }
    region = whole_region(space, faces, name=name, **region_fields)
    s1, s2 = stretches(space, plane, faces)
    rim = boundary_loops(faces)[0]
    distortion = Distortion(
        s1, s2, face_areas(space, faces), face_areas(plane, faces), around(space[rim]), around(plane[rim]), 0, False,
        fields.pop("curvature", 0.0), tightest,
    )  # fmt: skip
    return FlatPattern(region, plane, distortion, limits, verdict, (Edge("rim", rim, closed=True),), **fields)


def stretches(space, plane, faces):
    """Singular values of the flat-to-space map of each face: formed over flat."""
    u, v = (space[faces[:, k]] - space[faces[:, 0]] for k in (1, 2))
    along = np.linalg.norm(u, axis=1)
    height = face_areas(space, faces) * 2 / along
    formed = np.zeros((len(faces), 2, 2))
    formed[:, 0, 0], formed[:, 0, 1], formed[:, 1, 1] = along, np.sum(u * v, axis=1) / along, height
    flat = np.stack([plane[faces[:, 1]] - plane[faces[:, 0]], plane[faces[:, 2]] - plane[faces[:, 0]]], axis=2)
    values = np.linalg.svd(formed @ np.linalg.inv(flat), compute_uv=False)
    return values[:, 0], values[:, 1]


def around(points):
    return float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())


def part_of(pattern, **fields):
    """A part with the pattern's own rim as outline, its lower left at the origin."""
    rim = pattern.vertices[pattern.edge("rim").vertices]
    low = rim.min(axis=0)
    motion = Motion(dx_mm=-float(low[0]), dy_mm=-float(low[1]))
    return Part(pattern.region.name, Polycurve(rim - low), pattern=pattern, placement_of_pattern=motion, **fields)


def finial():
    """Cone frustum with a scalloped rim, developed exactly."""
    phi, level = np.meshgrid(np.linspace(0, np.radians(300), 121), np.linspace(0, 1, 25))
    slant = 40.0 + level * (130.0 + 9.0 * np.abs(np.sin(6 * phi)))
    half_apex = np.radians(32)
    r = slant * np.sin(half_apex)
    space = np.stack([r * np.cos(phi), r * np.sin(phi), -slant * np.cos(half_apex)], axis=2).reshape(-1, 3)
    turn = phi * np.sin(half_apex) - np.radians(80)
    plane = np.stack([slant * np.sin(turn), -slant * np.cos(turn)], axis=2).reshape(-1, 2)
    faces = grid_faces(121, 25)[:, ::-1] if face_areas(plane, grid_faces(121, 25)).sum() < 0 else grid_faces(121, 25)
    return pattern_of(
        space, plane, faces, name="canopy-finial", limits=COPPER, verdict=Verdict.LIES_FLAT, tightest=21.0,
        thickness=0.8, side="middle", method="developed", stopped_by="developed",
        smoothing=Smoothing(4.0, "five times the sheet thickness", 0.05, 0.18, 0.04, 0.011),
        seams=(Seam("seam-a", "seam-b", 0.0),),
    )  # fmt: skip


def skirt(count=61):
    """A gently saddle-shaped flap of leather with a curved lower rim, flattened by an area-true shear of its plan."""
    u, v = np.meshgrid(np.linspace(-1, 1, count), np.linspace(0, 1, count))
    x = 190.0 * u * (1.0 - 0.18 * v)
    y = 260.0 * v * (1.0 - 0.12 * u**2)
    z = x * x / 620.0 - (y - 120.0) ** 2 / 820.0
    space = np.stack([x, y, z], axis=2).reshape(-1, 3)
    widen = 1.0 + 0.028 * (np.abs(u)) ** 1.5 + 0.02 * v
    plane = np.stack([x * widen, y * (1.012 + 0.015 * (1 - v))], axis=2).reshape(-1, 2)
    return pattern_of(
        space, plane, grid_faces(count, count), name="saddle-skirt", limits=LEATHER,
        verdict=Verdict.FORMS_WITHIN_LIMIT, tightest=180.0, curvature=-0.42, thickness=3.6, side="outer",
        offset_mm=-1.8,
        smoothing=Smoothing(9.0, "two and a half times the leather's thickness", 0.12, 0.41, 0.1, 0.012),
        grain_rad=np.pi / 2, iterations=14,
    )  # fmt: skip


def breast_plate(rings=24):
    """A deep shield, stretched from an area-true map of a cap: over what copper bears, whatever the pattern."""
    space, faces = spherical_cap(110.0, np.radians(70), rings)
    angle = np.arctan2(space[:, 1], space[:, 0])
    theta = np.arccos(np.clip(space[:, 2] / 110.0, -1, 1))
    r = 110.0 * (1.3 * np.sin(theta / 2) + 0.35 * theta)
    plane = np.stack([r * np.cos(angle) * 0.96, r * np.sin(angle) * 1.03], axis=1)
    return pattern_of(
        space, plane, faces, name="breast-plate", limits=COPPER, verdict=Verdict.OVER_LIMIT_NO_UNCUT_PATTERN,
        tightest=108.0, curvature=2 * np.pi * (1 - np.cos(np.radians(70))), thickness=1.0, side="inner", offset_mm=0.5,
        smoothing=Smoothing(), iterations=22,
        notes=(Finding("F201", Severity.WARNING, "31 % of the area is over the gather limit.", "Cut a dart."),),
    )  # fmt: skip


def grain_arrow(x, y, size=50.0):
    arrow = [[x, y - size], [x, y + size], [x - 7, y + size - 14], [x, y + size], [x + 7, y + size - 14]]
    return Mark(Layer.MARK_LINE, Polycurve(np.array(arrow), closed=False), "grain")


def carousel_job():
    """A job with a leather, a developed copper and an over-limit copper part, one nested sheet and a try-out."""
    patterns = {pattern.region.name: pattern for pattern in (skirt(), finial(), breast_plate())}
    leather = part_of(
        patterns["saddle-skirt"], material="leather_veg", thickness_mm=3.6, quantity=4, process="knife",
        marks=(grain_arrow(190, 140),),
    )  # fmt: skip
    cone = part_of(patterns["canopy-finial"], material="cu_etp", thickness_mm=0.8, quantity=5, process="water_jet")
    plate = part_of(patterns["breast-plate"], material="cu_etp", thickness_mm=1.0, quantity=1, process="water_jet")
    return DocumentInput(
        "Carousel, east side: harness and canopy",
        (
            PartEntry(
                leather, "vegetable-tanned leather", "leather", "round knife",
                facts={"stretch limit, wet": Fact(0.12, "share of length", "COMMON_PRACTICE", "wet forming practice")},
                files=(FileLink("saddle-skirt.dxf", "for cutting"), FileLink("saddle-skirt.svg", "true size")),
            ),
            PartEntry(
                cone, "soft copper", "copper", "abrasive water-jet",
                facts={
                    "density": Fact(8940.0, "kg/m3", "READ", "a mill's data sheet"),
                    "kerf of the water-jet": Fact(0.76, "mm", "READ", "a cutting shop's guide"),
                },
                files=(FileLink("canopy-finial.dxf", "for cutting"),),
            ),
            PartEntry(
                plate, "soft copper", "copper", "abrasive water-jet", files=(FileLink("breast-plate.dxf", "cutting"),)
            ),
        ),
        (finial_nest(cone),),
        scans=(
            ScanEntry(
                "horse-3.ply", "9f2c" * 16, "mm", "user", 182_344, (812.4, 333.1, 905.0),
                (
                    Finding("M112", Severity.NOTE, "Triangles without area were taken out.", count=37),
                    Finding("M301", Severity.WARNING, "The scan has holes.", "Scan that side again.", 3),
                ),
            ),
            ScanEntry("canopy.stl", "01ab" * 16, "mm", "user", 40_120, (320.0, 320.0, 210.5)),
        ),
        cautions=(
            Caution("Abrasive water-jet", "Keep hands out of the tank while it can start. A jet wound goes deep."),
            Caution("Knife work on leather", "Cut away from the hand that holds. Keep the blade covered."),
        ),
        files=(FileLink("job-record.json", "record of the job"), FileLink("nest.json", "placements")),
        record=(("meshflow", "0.1.0"), ("Effort", "4")),
    )  # fmt: skip


def finial_nest(cone):
    sheet = Sheet("1000x1000", 1000.0, 1000.0, "cu_etp", 0.8)
    placements = (
        Placement("canopy-finial", 1, 15.0, 15.0, 0.0),
        Placement("canopy-finial", 2, 670.0, 330.0, 180.0),
        Placement("canopy-finial", 3, 15.0, 345.0, 0.0),
        Placement("canopy-finial", 4, 350.0, 980.0, 180.0, True),
    )
    layout = SheetLayout(sheet, placements, 690.0, 0.48)
    nest = Nest((layout,), (("canopy-finial", 1),), 1, True, "effort", 10.0, 3.0, 1, 4)
    return NestEntry(
        nest, "soft copper", 0.8, ((FileLink("sheet-01.dxf", "for cutting"), FileLink("sheet-01.svg", "true size")),)
    )


@pytest.fixture(scope="session")
def carousel():
    """The builders, and one job made with them."""
    return SimpleNamespace(
        job=carousel_job(),
        finial=finial,
        skirt=skirt,
        breast_plate=breast_plate,
        pattern_of=pattern_of,
        part_of=part_of,
    )
