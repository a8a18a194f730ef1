"""Worked examples of the trade, each with its source and mark. The id in the name is that of the facts sheet."""

import math

import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.stock.rules import bend_allowance, bending_force, developed_length, din_6935_deduction, least_bend_radius
from meshflow.tooling import drawn, forming_limits
from meshflow.tooling.embossed import bead_height, bead_thickness
from meshflow.tooling.springback import radius_after, rebound_ratio

BEAD = {"punch_radius_mm": 10.0, "die_radius_mm": 5.0, "wall_mm": 10.0}


def test_bend_1_din_6935_with_the_printed_factor():
    """beta 60, a 16, b 21, r 6, s 5, k 0.7: v = 5.77, L = 31.23 (scribd 401383818, READ)."""
    v = din_6935_deduction(math.radians(60), radius_mm=6, thickness_mm=5, factor=0.7)
    assert v == pytest.approx(5.768, abs=0.005)
    assert 16 + 21 - v == pytest.approx(31.23, abs=0.005)


def test_bend_2_din_6935_with_the_factor_by_formula():
    """As T-BEND-1, k by formula: v = 5.8229 (CALC)."""
    assert din_6935_deduction(math.radians(60), radius_mm=6, thickness_mm=5) == pytest.approx(5.8229, abs=1e-4)
    assert developed_length(16, 21, math.radians(60), radius_mm=6, thickness_mm=5) == pytest.approx(31.1771, abs=1e-4)


def test_bend_3_groover_allowance():
    """R 4.75, t 3.2, 60 degrees, K 0.33: 6.08; blank 38 + 25 + 6.08 = 69.08 mm (READ inputs, CALC)."""
    allowance = bend_allowance(math.radians(60), radius_mm=4.75, thickness_mm=3.2, neutral_factor=0.33)
    assert 38 + 25 + allowance == pytest.approx(69.08, abs=0.01)


def test_bend_4_force_in_a_v_die():
    """K 1.33, TS 450, w 44.5, t 3.2, D 25: 10 909 N (code 19496329846, READ inputs, CALC)."""
    force = bending_force(strength_mpa=450, width_mm=44.5, thickness_mm=3.2, opening_mm=25)
    assert force == pytest.approx(10_909, abs=1)


def test_bend_5_neutral_line_in_the_middle():
    """2 mm, 1 rad, R 100, K 0.5: 101.0 mm (GATE ME, READ and CALC)."""
    assert bend_allowance(1.0, radius_mm=100, thickness_mm=2, neutral_factor=0.5) == pytest.approx(101.0)


def test_spr_1_springback_of_a_tight_bend():
    """Ri 10, t 10, Y 205, E 190 000: ratio 0.99676 (FOSSEE, READ)."""
    assert rebound_ratio(10, thickness_mm=10, yield_mpa=205, youngs_mpa=190e3) == pytest.approx(0.99676, abs=1e-5)


def test_spr_2_springback_in_inches():
    """Ri 0.5 in, t 0.0359, Y 40 000, E 29e6 psi: ratio 0.9424, Rf 0.5306 (Kalpakjian, MEMORY)."""
    sheet = {"thickness_mm": 0.0359, "yield_mpa": 40e3, "youngs_mpa": 29e6}
    assert rebound_ratio(0.5, **sheet) == pytest.approx(0.9424, abs=5e-4)
    assert radius_after(0.5, **sheet) == pytest.approx(0.5306, abs=5e-4)


def test_springback_ends_where_the_bend_stays_elastic():
    with pytest.raises(OptionError, match="elastically"):
        rebound_ratio(1000, thickness_mm=0.5, yield_mpa=300, youngs_mpa=115e3)


def test_rmin_1_least_radius_from_the_reduction_of_area():
    """10 %: 4 t; 0.5 in sheet, 2 in (READ)."""
    assert least_bend_radius(0.5, reduction_of_area=0.10) == pytest.approx(2.0, rel=1e-12)


def test_cup_1_blank():
    """d 15, h 10: 28.72 (GATE ME; READ, CALC)."""
    assert drawn.cup_blank(15, 10) == pytest.approx(28.72, abs=0.01)


def test_cup_2_blank_with_trim():
    """d 48.5, h 52, 2 mm for each 25: 111.54 + 3.88 = 115.4 (PI 2004; READ, CALC)."""
    assert drawn.cup_blank(48.5, 52) + drawn.trim_of_cup(48.5) == pytest.approx(115.42, abs=0.05)


def test_cup_3_blank_and_height_of_the_first_draw():
    """d 105, h 90: D = 220.96; D 221 at d 130: h = 61.425 (READ)."""
    assert drawn.cup_blank(105, 90) == pytest.approx(220.96, abs=0.05)
    assert drawn.cup_height(221, 130) == pytest.approx(61.425, abs=0.05)


def test_cup_4_forces_of_a_draw():
    """Db 138, Dp 75, t 2.4, TS 300, Y 175, Rd 6: F = 193 396 N, Fh = 86 824 N, ratio 1.84 (READ inputs, CALC)."""
    force = drawn.drawing_force(138, 75, thickness_mm=2.4, tensile_mpa=300)
    holding = drawn.holding_force(138, 75, thickness_mm=2.4, yield_mpa=175, die_radius_mm=6)
    assert force == pytest.approx(193_396, abs=1)
    assert holding == pytest.approx(86_824, abs=1)
    assert drawn.draws_for(138, 75) == 1


def test_cup_5_frustum():
    """D 4, d 2, h 2.5 in: area 28.519, blank 6.026 in (Hodgson 1905, READ)."""
    assert drawn.frustum_area(2, 4, 2.5) == pytest.approx(28.519, abs=0.02)
    assert drawn.blank_diameter(28.519) == pytest.approx(6.026, abs=0.001)


def test_cup_6_box():
    """3.5 x 2.5 x 1 in: area 20.75 in2, blank in the same ratio 3.850 x 5.390 exactly; 3.86 x 5.404 as printed
    (Hodgson 1905, READ and CALC)."""
    length, width = drawn.box_blank(3.5, 2.5, 1.0)
    assert length * width == pytest.approx(20.75)
    assert (length, width) == (pytest.approx(5.390, abs=1e-3), pytest.approx(3.850, abs=1e-3))
    assert (length, width) == (pytest.approx(5.404, rel=3e-3), pytest.approx(3.86, rel=3e-3))


def test_hemisphere_has_a_blank_of_root_two_diameters():
    """Machinery's Handbook form (MEMORY), from equal area (CALC)."""
    assert drawn.blank_diameter(2 * math.pi * 25.0) == pytest.approx(math.sqrt(2) * 10.0)


def test_anis_1_anisotropy_of_a_tensile_test():
    """+23 % length, -10 % thickness: R = 0.965 (Kalpakjian 7.7, READ)."""
    assert forming_limits.anisotropy_of_test(lengthening=0.23, thinning=0.10) == pytest.approx(0.9648, abs=5e-4)


@pytest.mark.parametrize(("t", "n", "percent"), [(1.0, 0.21, 37.43), (0.8, 0.18, 29.66), (1.0, 0.30, 37.43)])
def test_flc_1_forming_limit_of_low_carbon_steel(t, n, percent):
    """Keeler and Brazier 1977 (READ_VIA, CALC); n counts up to 0.21."""
    assert forming_limits.forming_limit_plane_percent(t, n) == pytest.approx(percent, abs=0.01)


def test_forming_limit_is_refused_outside_its_range_and_falls_by_the_sum_on_the_left():
    with pytest.raises(OptionError):
        forming_limits.forming_limit_plane_percent(4.0, 0.21)
    limit = forming_limits.forming_limit(np.array([-0.1, 0.0, 0.1]), thickness_mm=1.0, exponent=0.21)
    assert limit - limit[1] == pytest.approx([0.1, 0.0, 0.0])


def test_emb_1_height_and_thickness_of_a_bead():
    """b 25, rSt 10, u 10, rM 5, s 1: h 13.44, s_min 0.64 (4ming handbook, READ; n = 0.216 inferred from the print)."""
    assert bead_height(25, exponent=0.216, **BEAD) == pytest.approx(13.44, abs=0.01)
    assert bead_thickness(25, sheet_mm=1.0, **BEAD) == pytest.approx(0.640, abs=0.01)


def test_bead_outside_the_range_of_the_rule_is_refused():
    with pytest.raises(OptionError, match="15 to 50 mm"):
        bead_height(10, exponent=0.21, **BEAD)


def test_strength_of_annealed_copper_agrees_with_the_mill_sheet():
    """K 530, n 0.44: 237.9 MPa, mill 220 to 260 (CALC); the other published pair would give 132 and is not used."""
    assert forming_limits.tensile_strength(strength_mpa=530, exponent=0.44) == pytest.approx(237.9, abs=0.05)
    assert forming_limits.tensile_strength(strength_mpa=315, exponent=0.54) < 200


def test_half_hard_rolling_uses_up_its_strain():
    """20.7 % reduction: 0.268 (MEMORY, CALC); of n = 0.44 there is 0.172 left."""
    before = forming_limits.rolled_strain(0.207)
    assert before == pytest.approx(0.268, abs=5e-4)
    assert forming_limits.uniform_strain_left(0.44, strain_before=before) == pytest.approx(0.172, abs=1e-3)
