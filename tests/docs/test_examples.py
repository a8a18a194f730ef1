"""Every example of the documentation is run as a script, and the number it prints is held against its closed form."""

from __future__ import annotations

import math
import re
import runpy
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"


def printed(name, capsys):
    """What a script prints: its text, and the numbers in it."""
    runpy.run_path(str(EXAMPLES / name), run_name="__main__")
    text = capsys.readouterr().out
    return text, [float(number) for number in re.findall(r"-?\d+\.\d+", text)]


def test_a_cone_unrolls_to_the_sector_of_its_facets(capsys):
    _, (degrees,) = printed("unroll_a_cone.py", capsys)
    half_apex = math.atan2(50, 120)
    # 120 flat triangles, each of apex angle 2 asin(sin(pi / 120) sin(half apex)); elementary.
    assert degrees == pytest.approx(
        120 * 2 * math.degrees(math.asin(math.sin(math.pi / 120) * math.sin(half_apex))), abs=1e-3
    )
    assert degrees == pytest.approx(360 * 50 / 130, abs=0.02)  # the smooth cone: 360 r / s


def test_noise_makes_a_pattern_too_large_and_the_carrier_surface_mends_it(capsys):
    _, (raw, carried) = printed("noise_makes_patterns_too_large.py", capsys)
    assert raw == pytest.approx(100 * 0.1**2, rel=0.25)  # sigma^2 / h^2 at sigma = h / 10, by Pythagoras
    assert abs(carried) < 0.2


def test_a_dome_of_steel_has_no_uncut_pattern_and_the_bound_is_milnors(capsys):
    text, (bound,) = printed("what_a_dome_can_never_do.py", capsys)
    assert "over_limit_no_uncut_pattern" in text
    best = math.radians(60) / math.sin(math.radians(60))  # Milnor 1969: a / sin a, and nothing less is possible
    assert 0.995 * best < bound <= best


def test_six_washers_use_their_widths_the_gaps_and_the_margins(capsys):
    _, (used,) = printed("six_washers.py", capsys)
    assert used == pytest.approx(10 + 6 * 50 + 5 * 3 + 10, abs=0.1)


def test_a_drawing_comes_back_with_the_area_it_was_written_with(capsys):
    _, (area,) = printed("read_a_drawing_back.py", capsys)
    assert area == pytest.approx(math.pi * (25**2 - 10**2), abs=1e-3)


def test_every_example_has_a_test():
    tested = set(re.findall(r'printed\("(\w+\.py)"', Path(__file__).read_text(encoding="utf-8")))
    assert tested == {script.name for script in EXAMPLES.glob("*.py")}
