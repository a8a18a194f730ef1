"""What is a guess stays said: from the scan's faces into the region, its note, and what follows it."""

from __future__ import annotations

import numpy as np
import pytest
from meshes import flat_disk

from meshflow.flatten import flatten
from meshflow.model.surface import Evidence, Surface
from meshflow.outline import outline
from meshflow.regions import neutral_surface, select


def partly_guessed(kind=Evidence.CONJECTURED, radius=20.0):
    vertices, faces = flat_disk(50.0, 20)
    guess = np.linalg.norm(vertices[faces].mean(axis=1), axis=1) < radius
    return Surface(vertices, faces, evidence=np.where(guess, kind, Evidence.MEASURED).astype(np.uint8))


def test_the_share_of_conjecture_is_that_of_the_area():
    region = select(partly_guessed(), name="rose")
    assert region.conjectured_share == pytest.approx((20 / 50) ** 2, rel=0.05)
    assert region.mirrored_share == 0.0
    (note,) = [note for note in region.notes if note.code == "R108"]
    assert "16.0 % of this piece is conjecture (filled in)" in note.text


def test_a_mirrored_half_is_said_too():
    region = select(partly_guessed(Evidence.MIRRORED), name="rose")
    assert region.mirrored_share == pytest.approx(0.16, rel=0.05)
    assert "mirrored" in next(note.text for note in region.notes if note.code == "R108")


def test_a_disc_cut_through_triangles_counts_only_what_it_holds():
    inside = select(partly_guessed(), "at=0,0,0 radius=15", name="rose")
    assert inside.conjectured_share == pytest.approx(1.0)
    assert select(partly_guessed(), "at=0,0,0 radius=30", name="rose").conjectured_share == pytest.approx(
        4 / 9, rel=0.05
    )


def test_a_measured_piece_says_nothing():
    region = select(Surface(*flat_disk(50.0, 10)), name="rose")
    assert (region.conjectured_share, region.mirrored_share) == (0.0, 0.0)
    assert not [note for note in region.notes if note.code == "R108"]


def test_the_note_and_the_share_reach_the_part():
    part = outline(flatten(neutral_surface(select(partly_guessed(), name="rose", thickness=1.0, side="outer"))))
    assert part.pattern.region.conjectured_share == pytest.approx(0.16, rel=0.05)
    assert [note.code for note in part.pattern.region.notes if note.code == "R108"] == ["R108"]


def test_a_closed_pin_hole_is_counted_but_not_worth_a_line():
    vertices, faces = flat_disk(50.0, 40)
    evidence = np.zeros(len(faces), dtype=np.uint8)
    evidence[:3] = Evidence.CONJECTURED
    region = select(Surface(vertices, faces, evidence=evidence), name="rose")
    assert region.conjectured_share == pytest.approx(3 / len(faces), rel=0.2)
    assert not [note for note in region.notes if note.code == "R108"]
