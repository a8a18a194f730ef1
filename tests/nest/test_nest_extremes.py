"""Parts as no one draws them: each gives a sound nest or a named refusal, never a traceback, a hang or a false answer.

Far from the origin, tiny beside huge, with slots and gaps of a millionth of a millimetre, with spacing as wide as their
own features, filling a sheet to the last grid step; on hides, with fillers, in holes.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plates import rectangle, rounded_plate, scalloped, star

from meshflow.errors import NestError
from meshflow.geometry.curves import transformed
from meshflow.model.curve import Circle, Motion, Polycurve
from meshflow.model.part import Part
from meshflow.model.stock import Flaw, Sheet
from meshflow.nest import nest, verify_nest

HAIR = 1e-6  # mm


def slotted(name, size, width, depth, **more):
    """A plate with a straight slot in from its right edge."""
    y, x = 0.5 * size, size - depth
    return Part(
        name,
        Polycurve([[0, 0], [size, 0], [size, y], [x, y], [x, y + width], [size, y + width], [size, size], [0, size]]),
        **more,
    )


def keyhole(name, size, width, **more):
    """A plate with a round eye that a slot joins to its edge."""
    r, y, h = 0.2 * size, 0.5 * size, 0.5 * width
    reach = math.sqrt(r * r - h * h)
    x = 0.5 * size + reach
    angle = math.atan2(h, reach)
    sweep = 2.0 * math.pi - 2.0 * angle
    points = [[0, 0], [size, 0], [size, y - h], [x, y - h], [x, y + h], [size, y + h], [size, size], [0, size]]
    bulges = [0, 0, 0, -math.tan(0.125 * sweep), 0, 0, 0, 0]
    half = [0.5 * size - r, y]
    points[4:4] = [half]
    bulges[3:4] = [-math.tan(0.125 * sweep)] * 2
    return Part(name, Polycurve(points, bulges), **more)


def comb(name, teeth, width, length, **more):
    """Teeth and gaps of one width."""
    points = [[0.0, 0.0]]
    for tooth in range(teeth):
        x = 2.0 * tooth * width
        points += [[x + width, 0.0], [x + width, length], [x + 2.0 * width, length], [x + 2.0 * width, 0.0]]
    x = 2.0 * teeth * width
    points += [[x + width, 0.0], [x + width, length + width], [0.0, length + width]]
    return Part(name, Polycurve(points), **more)


def holed(name, size, gap, **more):
    """A plate with two holes that come within `gap` of each other and of its edge."""
    a, b, c = gap, 0.5 * (size - gap), 0.5 * (size + gap)
    d = size - gap
    one = Polycurve([[a, a], [a, d], [b, d], [b, a]])
    two = Polycurve([[c, a], [c, d], [d, d], [d, a]])
    return Part(name, Polycurve([[0, 0], [size, 0], [size, size], [0, size]]), (one, two), **more)


def moved(part, dx, dy):
    motion = Motion(dx_mm=dx, dy_mm=dy)
    holes = tuple(transformed(hole, motion) for hole in part.holes)
    return replace(part, outline=transformed(part.outline, motion), holes=holes)


def odd_part(name, chance, size):
    thin = float(chance.choice([HAIR, 1e-5, 1e-4, 1e-3, 0.02, 0.3]))
    more = {
        "quantity": int(chance.integers(1, 4)),
        "may_mirror": bool(chance.random() < 0.3),
        "turns_deg": [(), (0.0,), (0.0, 180.0), (10.0, 55.5, -120.0)][int(chance.integers(4))],
        "most": int(chance.integers(0, 6)),
    }
    makers = [
        lambda: slotted(name, size, thin, 0.7 * size, **more),
        lambda: keyhole(name, size, min(thin, 0.1 * size), **more),
        lambda: comb(name, 4, max(0.1 * size, 1e-3), 0.6 * size, **more),
        lambda: holed(name, size, min(thin, 0.2 * size), **more),
        lambda: star(name, size, 9, int(chance.integers(10**6)), least=0.2, **more),
        lambda: scalloped(name, 0.5 * size, 7, **more),
        lambda: rounded_plate(name, size, 0.6 * size, min(thin, 0.2 * size), **more),
        lambda: rectangle(name, size, max(thin, 0.01), **more),
        lambda: Part(name, Circle((0.0, 0.0), 0.5 * size), (Circle((0.0, 0.0), 0.5 * size - thin),), **more),
        lambda: Part(name, Circle((0.0, 0.0), 0.5 * size), (Circle((thin, 0.0), 0.4 * size),), **more),
    ]
    return makers[int(chance.integers(len(makers)))]()


def sound_or_refused(parts, sheets, **options):
    """Nest; return the answer, or None where it is refused with a name and a remedy."""
    try:
        answer = nest(parts, sheets, effort=1, seconds=0.05, **options)
    except NestError as error:
        refusal = error
    else:
        refusal = None
    if refusal is not None:
        assert refusal.where
        assert refusal.remedy
        return None
    assert verify_nest(answer, parts) == ()
    return answer


DISTANCES = st.sampled_from([(10.0, 3.0), (0.0, 0.0), (1.0, 8.0), (7.3, 0.1), (0.0, HAIR), (HAIR, 1e-3)])
SEEDS = st.integers(0, 10**6)
QUICK = settings(max_examples=30, deadline=None, derandomize=True)


def some(chance, sizes, *, apart=0.0):
    parts = [odd_part(f"p{i}", chance, float(sizes())) for i in range(int(chance.integers(1, 6)))]
    return [moved(part, *chance.uniform(-apart, apart, 2)) for part in parts] if apart else parts


@QUICK
@given(SEEDS, DISTANCES, st.sampled_from([0.0, 1e5, 1e6]), st.booleans())
def test_odd_parts_near_and_far_from_the_origin(seed, distances, apart, in_holes):
    chance = np.random.default_rng(seed)
    parts = some(chance, lambda: chance.uniform(5, 150), apart=apart)
    margin, spacing = distances
    sound_or_refused(parts, [Sheet("s", 900.0, 500.0)], margin_mm=margin, spacing_mm=spacing, in_holes=in_holes)


@QUICK
@given(SEEDS, DISTANCES, st.booleans())
def test_parts_of_a_twentieth_of_a_millimetre_beside_parts_of_ten_metres(seed, distances, in_holes):
    chance = np.random.default_rng(seed)
    parts = some(chance, lambda: chance.choice([0.05, 0.2, 3.0, 400.0, 10_000.0]))
    sheets = [Sheet("hall", 24_000.0, 11_000.0), Sheet("scrap", 50.0, 30.0)]
    margin, spacing = distances
    sound_or_refused(parts, sheets, margin_mm=margin, spacing_mm=spacing, in_holes=in_holes)


@QUICK
@given(SEEDS, st.floats(0.02, 12.0), st.sampled_from([-HAIR, 0.0, HAIR]))
def test_spacing_as_wide_as_the_features_of_the_parts(seed, width, off):
    # Teeth, gaps, slots and rims of one width, and a spacing of that width, or a hair more or less.
    chance = np.random.default_rng(seed)
    parts = [
        comb("comb", int(chance.integers(2, 5)), width, 6.0 * width, quantity=3),
        slotted("slot", 9.0 * width, width, 5.0 * width, quantity=2),
        holed("holes", 9.0 * width, width, quantity=2),
        Part("coin", Circle((0.0, 0.0), width), quantity=4),
        rectangle("key", 4.0 * width, width, quantity=2),
    ]
    side = 60.0 * width
    answer = sound_or_refused(
        parts, [Sheet("s", side, side)], margin_mm=width, spacing_mm=width + off, in_holes=bool(seed % 2)
    )
    assert answer is not None
    assert answer.unplaced == ()


@QUICK
@given(SEEDS, DISTANCES, st.booleans())
def test_odd_hides_with_slits_flaws_zones_and_fillers(seed, distances, in_holes):
    chance = np.random.default_rng(seed)
    edge = np.asarray(star("edge", float(chance.uniform(100, 300)), 12, seed, least=0.3).outline.points)
    edge = edge - edge.min(axis=0)
    length, width = edge.max(axis=0).tolist()
    scratch = Polycurve([[0, 0.4 * width], [0.7 * length, 0.5 * width], [0.7 * length, 0.5 * width + HAIR]])
    zone = Polycurve([[0.5 * length, -10.0], [2.0 * length, -10.0], [2.0 * length, width], [0.5 * length, width]])
    flaws = (
        Flaw(Circle((0.6 * length, 0.4 * width), 0.1 * width), float(chance.choice([0.0, HAIR, 4.0]))),
        Flaw(scratch, float(chance.choice([0.0, 2.0]))),
        Flaw(zone, grade=2),
    )
    hide = Sheet("hide", length, width, outline=Polycurve(edge), flaws=flaws)
    parts = some(chance, lambda: chance.uniform(5, 120))
    parts = [replace(part, least_grade=int(chance.integers(0, 3))) for part in parts]
    margin, spacing = distances
    sound_or_refused(parts, [hide], margin_mm=margin, spacing_mm=spacing, in_holes=in_holes)


@QUICK
@given(
    st.integers(1, 6),
    st.integers(1, 5),
    st.integers(5_000, 3_000_000),
    st.integers(5_000, 3_000_000),
    st.integers(0, 200_000),
    st.integers(0, 200_000),
    st.sampled_from([0.0, 1e5, -7e5]),
)
def test_rectangles_that_fill_a_sheet_to_the_last_grid_step_all_lie_on_it(
    across, up, length, width, spacing, margin, off
):
    # All lengths in steps of 0.0001 mm, so that nothing is rounded.
    step = 1e-4
    sheet = (across * length + (across - 1) * spacing + 2 * margin, up * width + (up - 1) * spacing + 2 * margin)
    part = moved(rectangle("p", length * step, width * step, quantity=across * up, turns_deg=(0.0,)), off, off)
    answer = sound_or_refused(
        [part],
        [Sheet("s", sheet[0] * step, sheet[1] * step, count=1)],
        margin_mm=margin * step,
        spacing_mm=spacing * step,
    )
    assert answer is not None
    assert answer.unplaced == ()
    assert answer.sheets[0].used_length_mm == pytest.approx(sheet[0] * step, abs=1e-3)


@pytest.mark.parametrize("gap", [HAIR, 2e-5, 1e-4, 9e-4])
def test_a_gap_of_less_than_the_tolerance_on_the_sheet_is_no_room(gap):
    # Two plates whose sum with the spacing is longer than the sheet by a hair: both may lie, and by a tenth not.
    plate = rectangle("p", 100.0, 50.0, quantity=2, turns_deg=(0.0,))
    for short, left in ((gap, ()), (0.1, (("p", 1),))):
        sheet = Sheet("s", 203.0 + 20.0 - short, 70.0, count=1)
        answer = sound_or_refused([plate], [sheet], margin_mm=10.0, spacing_mm=3.0)
        assert answer.unplaced == left or (gap > 7e-4 and answer.unplaced == (("p", 1),))


def test_a_slit_in_a_hide_is_no_stuff_even_where_the_margin_is_less_than_half_the_spacing():
    # The edge moved out by half the spacing less the margin closes the slit; parts once lay across it.
    edge = Polycurve([[0, 0], [200, 0], [200, 100], [101, 100], [100 + HAIR, 20], [100, 20], [99.9, 100], [0, 100]])
    hide = Sheet("hide", 200.0, 100.0, outline=edge, count=1)
    plate = rectangle("plate", 90.0, 80.0, quantity=2, turns_deg=(0.0,))
    wide = rectangle("wide", 150.0, 40.0, turns_deg=(0.0,))
    for margin, spacing in ((1.0, 8.0), (0.0, 3.0), (2.0, 2.0)):
        answer = sound_or_refused([plate, wide], [hide], margin_mm=margin, spacing_mm=spacing)
        assert ("wide", 1) in answer.unplaced
        assert answer.sheets


FAR_ARC = Polycurve([[0, 0], [10, 0], [10, 10], [0, 10]], [1e12, 0, 0, 0])
SMALL_ARC = Polycurve([[0, 0], [10, 0], [10, 10], [0, 10]], [1e-300, 0, 0, 0])
RAGGED = Polycurve([[0, 0], [0, 0], [5, 0], [7, 0], [10, 0], [10, 0], [10, 10], [10, 10 + 1e-9], [5, 5]])
TABLE = Sheet("s", 900.0, 500.0)


@pytest.mark.parametrize(
    ("part", "sheet", "options", "sentence"),
    [
        (Part("p", FAR_ARC), TABLE, {}, "p: its outline is .* more than nesting can reckon with"),
        (Part("p", SMALL_ARC), TABLE, {}, None),
        (Part("p", RAGGED), TABLE, {}, None),
        (Part("p", Polycurve([[0, 0], [10, 0]], [1, 1])), TABLE, {}, None),
        (Part("p", Polycurve([[0, 0], [10, 0]])), TABLE, {}, "p: its outline encloses no area"),
        (Part("p", Polycurve([[0, 0]])), TABLE, {}, "p: its outline encloses no area"),
        (Part("p", Circle((1e13, 0.0), 20.0)), TABLE, {}, "p: its outline lies 1e.07 km from the origin"),
        (Part("p", Circle((1e300, 1e300), 20.0)), TABLE, {}, "p: its outline"),
        (Part("p", Circle((9e8, -9e8), 20.0), quantity=3), TABLE, {}, None),
        (rectangle("p", 35_000.0, 35_000.0, quantity=2), Sheet("hall", 50_000.0, 50_000.0), {}, None),
        (rectangle("p", 0.05, 0.05, quantity=2), Sheet("chip", 0.2, 0.1), {"margin_mm": 0.0, "spacing_mm": 0.0}, None),
        (rectangle("p", 9.0, 9.0), TABLE, {"spacing_mm": 1e7}, "a spacing of 1e.07 mm makes no sense"),
        (rectangle("p", 9.0, 9.0, quantity=2), TABLE, {"spacing_mm": 50_000.0}, None),
        (rectangle("p", 9.0, 9.0, turns_deg=(1e20,)), TABLE, {}, "p: the turns .* make no sense"),
        (rectangle("p", 90.0, 9.0, turns_deg=(35_999.5,)), TABLE, {}, None),
        (rectangle("p", 9.0, 9.0, quantity=10_000), Sheet("s", 900.0, 500.0, count=1), {}, None),
        (rectangle("p", 9.0, 9.0), replace(TABLE, flaws=(Flaw(Circle((0, 0), 1e8)),)), {}, "sheet s: its flaw 1 is"),
        (rectangle("p", 9.0, 9.0), replace(TABLE, flaws=(Flaw(Circle((1e7, 1e8), 9.0)),)), {}, None),
        (rectangle("p", 9.0, 9.0), replace(TABLE, flaws=(Flaw(Circle((9, 9), 9.0), 1e9),)), {}, "a clearance of 1e.09"),
        (rectangle("p", 9.0, 9.0), replace(TABLE, flaws=(Flaw(Circle((9, 9), 1e-3)),)), {}, None),
    ],
)  # fmt: skip
def test_numbers_from_another_world_are_named_or_nested(part, sheet, options, sentence):
    if sentence is not None:
        with pytest.raises(NestError, match=sentence):
            nest([part], [sheet], **options)
    else:
        assert verify_nest(nest([part], [sheet], seconds=0.05, **options), [part]) == ()
