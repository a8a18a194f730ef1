"""Noise and spikes, held against meshes whose noise and spikes are known."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import (
    closed_ball,
    closed_box,
    closed_torus,
    cone_band,
    developable_cylinder,
    folded_strip,
    oblique_cone,
    ring_band,
    rough,
    saddle,
    spherical_cap,
)

from meshflow.geometry.topology import edge_table
from meshflow.mesh.roughness import ALL_CREASED, roughness
from meshflow.mesh.spikes import spikes

SMOOTH = {
    "cap": lambda: spherical_cap(50.0, np.radians(60), 20),
    "cylinder": developable_cylinder,
    "torus": closed_torus,
    "saddle": saddle,
    "ball": lambda: closed_ball(25.0, 4),
}


@pytest.mark.parametrize("name", SMOOTH)
@pytest.mark.parametrize("ratio", [0.01, 0.03, 0.1])
def test_the_planted_noise_is_found_within_fifteen_percent(name, ratio):
    vertices, faces = SMOOTH[name]()
    table = edge_table(faces)
    edge = roughness(vertices, faces, table).edge_mm
    for seed in range(3):
        estimate = roughness(rough(vertices, faces, ratio * edge, seed), faces, table)
        assert estimate.failed == ""
        assert estimate.sigma_mm == pytest.approx(ratio * edge, rel=0.15)


@pytest.mark.parametrize("name", SMOOTH)
def test_an_ideal_surface_has_no_noise(name):
    vertices, faces = SMOOTH[name]()
    assert roughness(vertices, faces, edge_table(faces)).ratio < 2e-4


def test_a_coarse_machine_mesh_of_tight_curves_does_not_pass_for_a_scan():
    for vertices, faces in (closed_torus(60, 20, 24, 12), closed_ball(25.0, 2), cone_band(around=24, up=9)):
        assert roughness(vertices, faces, edge_table(faces)).ratio < 0.011


def test_noise_scales_with_the_piece():
    vertices, faces = saddle()
    vertices, table = rough(vertices, faces, 0.1), edge_table(faces)
    one, ten = roughness(vertices, faces, table), roughness(10 * vertices, faces, table)
    assert ten.sigma_mm == pytest.approx(10 * one.sigma_mm, rel=1e-9)
    assert ten.ratio == pytest.approx(one.ratio, rel=1e-9)


def test_a_sharp_fold_is_not_noise():
    vertices, faces = folded_strip(along=40, across=40)
    table = edge_table(faces)
    assert roughness(vertices, faces, table).ratio < 1e-9
    noisy = roughness(rough(vertices, faces, 0.03), faces, table)
    assert noisy.sigma_mm == pytest.approx(0.03, rel=0.15)


def test_spikes_do_not_move_the_estimate():
    vertices, faces = saddle()
    vertices = rough(vertices, faces, 0.1)
    vertices[[500, 900, 1300]] += [0, 0, 8.0]
    assert roughness(vertices, faces, edge_table(faces)).sigma_mm == pytest.approx(0.1, rel=0.15)


def test_where_nothing_can_be_told_the_reason_is_said():
    vertices, faces = closed_box()
    assert "too few" in roughness(vertices, faces, edge_table(faces)).failed
    vertices, faces = oblique_cone()
    assert "too few" in roughness(vertices, faces, edge_table(faces)).failed
    vertices, faces = ring_band()
    wild = roughness(rough(vertices, faces, 1.5), faces, edge_table(faces))
    assert wild.failed == ALL_CREASED
    assert wild.sigma_mm == pytest.approx(1.5, rel=0.3)  # what is left is an upper bound


def test_planted_spikes_are_found_and_nothing_else():
    vertices, faces = saddle()
    vertices = rough(vertices, faces, 0.1)
    assert len(spikes(vertices, faces, edge_table(faces))) == 0
    vertices[[500, 900, 1300]] += [0, 0, 6.0]
    vertices[700] -= [0, 0, 6.0]
    assert spikes(vertices, faces, edge_table(faces)).tolist() == [500, 700, 900, 1300]


def test_two_spikes_side_by_side_are_two():
    vertices, faces = saddle()
    vertices = vertices.copy()
    vertices[[840, 841]] += [0, 0, 7.0]
    assert spikes(vertices, faces, edge_table(faces)).tolist() == [840, 841]


def test_the_foot_of_a_tall_spike_is_no_spike():
    count = 12  # squares split by alternating diagonals: points of four and of eight neighbours
    x, y = np.meshgrid(np.arange(count) * 2.0, np.arange(count) * 2.0)
    vertices = np.stack([x, y, 0 * x], axis=2).reshape(-1, 3)
    faces = []
    for row, column in np.ndindex(count - 1, count - 1):
        a = row * count + column
        b, c, d = a + 1, a + count + 1, a + count
        faces += [(a, b, c), (a, c, d)] if (row + column) % 2 == 0 else [(a, b, d), (b, c, d)]
    table = edge_table(np.array(faces))
    for tall in (3.0, 8.0, 30.0):
        spiked = vertices.copy()
        spiked[6 * count + 6] += [0, 0, tall]  # of eight neighbours, four of them with four
        assert spikes(spiked, np.array(faces), table).tolist() == [6 * count + 6]


def test_the_corners_of_a_box_and_the_edge_of_a_fold_are_no_spikes():
    for vertices, faces in (closed_box(), folded_strip(), closed_ball(25.0, 0), closed_ball(25.0, 1)):
        assert len(spikes(vertices, faces, edge_table(faces))) == 0
