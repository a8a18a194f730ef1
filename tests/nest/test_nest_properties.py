"""What holds for any parts: no overlap, inside, every copy once, by our check and by a second plain one."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import assert_plainly_valid, rectangle, rounded_plate, saddle, scalloped, star, tromino

from meshflow.model.curve import Circle
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest, nest_json, verify_nest


def some_parts(seed: int, count: int) -> list[Part]:
    """Parts of all kinds, some with odd turns, some that may be turned over, some too large for the sheet below."""
    chance = np.random.default_rng(seed)
    parts = []
    for i in range(count):
        size = float(chance.uniform(20, 160) if chance.random() < 0.9 else chance.uniform(300, 700))
        more = {
            "quantity": int(chance.integers(0, 4)),
            "may_mirror": bool(chance.random() < 0.3),
            "turns_deg": [(), (0.0,), (0.0, 180.0), (10.0, 55.5, -120.0)][int(chance.integers(4))],
        }
        made = [
            lambda n, s, m: star(n, s, 5, seed, least=0.3, **m),
            lambda n, s, m: star(n, s, 25, seed, least=0.7, **m),
            lambda n, s, m: rectangle(n, s, 0.6 * s, **m),
            lambda n, s, m: rounded_plate(n, s, 0.7 * s, 0.2 * s, **m),
            lambda n, s, m: saddle(n, s, 0.6 * s, **m),
            lambda n, s, m: scalloped(n, 0.5 * s, 7, **m),
            lambda n, s, m: tromino(n, 0.5 * s, **m),
            lambda n, s, m: Part(n, Circle((s, -s), 0.5 * s), **m),
        ][int(chance.integers(8))]
        parts.append(made(f"part-{i:02d}", size, more))
    return parts


SHEETS = [Sheet("large", 600.0, 400.0), Sheet("small", 420.0, 250.0, count=2)]


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.integers(0, 10**6),
    st.integers(1, 9),
    st.sampled_from([(10.0, 3.0), (0.0, 0.0), (1.0, 8.0), (7.3, 0.1)]),
    st.integers(1, 3),
)
def test_parts_never_overlap_stay_inside_and_each_copy_lies_once(seed, count, distances, tries):
    parts = some_parts(seed, count)
    margin, spacing = distances
    answer = nest(parts, SHEETS, margin_mm=margin, spacing_mm=spacing, seed=tries, seconds=0.02 * tries)
    assert verify_nest(answer, parts) == ()
    assert_plainly_valid(answer, parts)
    # Sheets without end: only what fits none is left over.
    assert {note.code for note in answer.notes} <= {"N101"}
    for layout in answer.sheets:
        assert 0.0 < layout.utilisation <= 1.0


def as_text(parts: list[Part], **options: object) -> str:
    return json.dumps(nest_json(nest(parts, SHEETS, **options), parts))  # type: ignore[arg-type]


def test_the_same_seed_gives_the_same_bytes_in_any_order_of_parts_and_sheets():
    parts = some_parts(5, 9)
    once = as_text(parts, effort=1)
    assert as_text(parts, effort=1) == once
    assert as_text(parts[::-1], effort=1) == once
    turned = nest(parts, SHEETS[::-1], effort=1)
    assert json.dumps(nest_json(turned, parts)) == once


def test_two_seeds_differ_and_are_both_valid():
    parts = [star(f"star-{i}", 60, 9, i, quantity=2) for i in range(7)]
    answers = [nest(parts, SHEETS, seed=seed) for seed in (1, 2)]
    assert answers[0].sheets != answers[1].sheets
    for answer in answers:
        assert_plainly_valid(answer, parts)
        assert not answer.unplaced


def test_the_answer_does_not_depend_on_the_hash_seed():
    script = (
        "import sys; sys.path[:0] = sys.argv[1:]\n"
        "from test_nest_properties import as_text, some_parts\n"
        "print(as_text(some_parts(5, 9)))\n"
    )
    here = os.path.dirname(__file__)  # noqa: PTH120
    texts = []
    for seed in ("0", "1", "4711"):
        run = subprocess.run(
            [sys.executable, "-c", script, here, os.path.dirname(here)],  # noqa: PTH120
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        )
        texts.append(run.stdout.strip())
    assert texts[0] == texts[1] == texts[2] == as_text(some_parts(5, 9))


def test_importing_the_room_loads_none_of_the_heavy_libraries():
    script = (
        "import sys, meshflow.nest; print([m for m in ('numba', 'shapely', 'scipy', 'pyclipper') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
