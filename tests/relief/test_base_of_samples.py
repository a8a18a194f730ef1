"""The base under the demo's ornament: truth from the closed formulas of `sample_meshes/ornaments.py`."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import cKDTree

from meshflow.job.scan_file import read_sound_scan
from meshflow.regions import select
from meshflow.relief.base import base_of

SAMPLES = Path(__file__).parents[2] / "sample_meshes"


@cache
def ornaments():
    sys.path.insert(0, str(SAMPLES))
    try:
        import ornaments
    finally:
        sys.path.remove(str(SAMPLES))
    return ornaments


def rosette():
    made, rings = ornaments(), 46
    share, angle, _ = made.disk(rings, 21)
    arc = made.ROSETTE_RADIUS * share
    return made.harness_rosette(rings)[0], made.rosette_height(arc * np.cos(angle), arc * np.sin(angle))


def strip():
    places = ornaments().frame_strip()[0]
    return places, ornaments().strip_height(places[:, 0], places[:, 1])


def boss():
    made, rings = ornaments(), 40
    share, angle, _ = made.disk(rings, 23)
    x, y = made.BOSS_HALF[0] * share * np.cos(angle), made.BOSS_HALF[1] * share * np.sin(angle)
    return made.saddle_boss(rings)[0], made.boss_height(x, y)


def scan(file):
    return select(read_sound_scan(SAMPLES / file, "mm", lambda what, share: None), "all", name=file)


@pytest.mark.parametrize(
    ("file", "truth", "kind"),
    [
        ("harness_rosette.ply", rosette, "sphere"),
        ("frame_strip.ply", strip, "plane"),
        ("saddle_boss.ply", boss, "free"),
    ],
)
def test_each_demo_scan_shows_its_base_and_heights_within_four_hundredths(file, truth, kind):
    region = scan(file)
    places, height = truth()
    away, nearest = cKDTree(places).query(region.vertices)
    assert away.max() < 0.3  # the noise is 0.02 mm, the edge 0.7: every vertex is found in the true shape
    base = base_of(region)
    assert base.kind == kind
    assert base.separable
    assert not base.notes
    assert np.sqrt(np.mean((base.height - height[nearest]) ** 2)) <= 0.04


def test_the_rosette_sits_on_the_sphere_it_was_made_on():
    assert base_of(scan("harness_rosette.ply")).parameters["radius_mm"] == pytest.approx(160.0, rel=0.005)


def test_forms_that_run_through_part_of_the_boss_are_not_separable():
    assert not base_of(scan("saddle_boss.ply"), kind="cylinder").separable
