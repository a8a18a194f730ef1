"""Will it strike: verdict, anneals, force, press, and the words where a rule does not apply."""

from dataclasses import replace

import numpy as np
import pytest

from meshflow.errors import OptionError
from meshflow.job.strike import net_area, plan_strike, write_strain
from meshflow.model.relief import Relief
from meshflow.model.stock import Fact, Machine
from meshflow.stock import load_stock
from meshflow.tooling.press import check_press, drive_of
from meshflow.tooling.strike import StrikeOptions, will_it_strike

STOCK = load_stock()


def press(**facts):
    rows = {key: Fact(value, "", "USER", "test") for key, value in facts.items()}
    return Machine("p", "press", "press", rows)


def coin(height, *, radius=8.0, slope=1.0, pitch=0.4, size=16.0):
    x = np.arange(-size, size + 0.01, pitch)
    r = np.hypot(*np.meshgrid(x, x))
    return Relief("coin", height * np.clip((radius - r) * slope / height + 1, 0, 1), r < size, pitch)


def codes(plan):
    return [note.code for note in plan.notes]


def test_flat_relief_needs_no_force_and_no_anneal():
    flat = Relief("flat", np.zeros((40, 40)), np.ones((40, 40), bool), 0.5)
    plan = will_it_strike(flat, material="copper", thickness_mm=0.8, press=STOCK.machine("press"))
    assert plan.force_kN == (0.0, 0.0)
    assert (plan.anneals, plan.strain_max, plan.area_mm2, plan.press_ok) == (0, 0.0, 0.0, True)
    assert plan.thickness_min_mm == 0.8
    assert codes(plan) == ["T134"]


def test_panel_of_soft_copper_takes_the_force_of_the_facts_check():
    """100 x 60 mm, t = 0.8, loose 100 to 250 MPa: 0.6 to 1.5 MN, on a crank press 0.9 to 2.25 MN (CALC)."""
    height = np.zeros((242, 402))
    height[1:-1, 1:-1] = 0.5
    panel = Relief("panel", height, np.ones(height.shape, bool), 0.25)
    for drive, factor in (("screw", 1.0), ("crank", 1.5), ("knuckle", 1.5)):
        options = StrikeOptions(detail="shallow", drive=drive)
        plan = will_it_strike(panel, material="copper", thickness_mm=0.8, options=options)
        assert plan.force_kN == pytest.approx((600 * factor, 1500 * factor))
    unknown = will_it_strike(panel, material="copper", thickness_mm=0.8, options=StrikeOptions(detail="shallow"))
    assert unknown.force_kN == pytest.approx((600, 2250))


@pytest.mark.parametrize(("thickness", "low", "high"), [(0.4, 1000, 1200), (0.5, 700, 1000), (0.8, 600, 800)])
def test_crisp_detail_takes_the_pressure_of_its_thickness(thickness, low, high):
    """Tschaetsch, table 17.1, soft copper (READ)."""
    options = StrikeOptions(detail="crisp", drive="screw")
    plan = will_it_strike(coin(0.5), material="copper", thickness_mm=thickness, options=options)
    assert plan.record["pressure_MPa"] == [low, high]


def test_force_grows_with_the_area():
    options = StrikeOptions(detail="crisp", drive="screw")
    plans = [will_it_strike(coin(0.5, radius=r), material="copper", thickness_mm=0.5, options=options) for r in (5, 10)]
    ratio = plans[1].area_mm2 / plans[0].area_mm2
    assert ratio == pytest.approx(4.0, rel=0.1)
    assert plans[1].force_kN[1] / plans[0].force_kN[1] == pytest.approx(ratio)


def test_metal_without_a_row_is_taken_as_coined_and_says_so():
    plan = will_it_strike(coin(0.5), material="cusn6", thickness_mm=0.5)
    assert "T126" in codes(plan)
    assert plan.force_kN[1] / plan.force_kN[0] == pytest.approx(5 / 3)


def test_hard_sheet_is_annealed_before_it_is_struck():
    soft, hard = (
        will_it_strike(coin(1.0), material="copper", thickness_mm=0.8, temper=temper) for temper in ("R220", "R290")
    )
    assert (soft.anneals, hard.anneals) == (0, 1)
    assert any("Annealing" in words for words in hard.cautions)
    assert any("acid" in words for words in hard.cautions)
    assert not any("Annealing" in words for words in soft.cautions)
    assert all("local codes" in words for words in hard.cautions[:3])


def test_depth_asks_for_courses_where_strain_does_not():
    """Two thicknesses a blow, the lower end of two to three (COMMON_PRACTICE): 3.2 mm in 0.8 mm sheet is two blows."""
    plan = will_it_strike(coin(3.2, slope=0.4), material="copper", thickness_mm=0.8)
    assert (plan.courses, plan.anneals) == (2, 1)


def test_wide_deep_cone_tears():
    x = np.arange(-20, 20.01, 0.5)
    r = np.hypot(*np.meshgrid(x, x))
    plan = will_it_strike(Relief("cone", np.maximum(20 - r, 0) * 2.0, r < 20, 0.5), material="copper", thickness_mm=0.8)
    assert plan.verdict == "tears"
    assert "T121" in codes(plan)


def test_steep_wall_is_doubtful_because_metal_may_stick():
    plan = will_it_strike(coin(1.0, slope=10.0, pitch=0.1), material="copper", thickness_mm=0.5)
    assert plan.verdict == "doubtful"
    assert "T122" in codes(plan)
    assert plan.strain_bounds[0] <= plan.strain_max <= plan.strain_bounds[1]
    assert plan.thickness_bounds_mm[0] <= plan.thickness_min_mm <= plan.thickness_bounds_mm[1]


def test_rules_for_another_metal_are_named_and_not_used():
    copper = will_it_strike(coin(0.5), material="copper", thickness_mm=0.8)
    steel = will_it_strike(coin(0.5), material="dc04", thickness_mm=0.8)
    assert any(n.code == "T125" and "forming limit curve (low-carbon steel)" in n.text for n in copper.notes)
    assert not any(n.code == "T125" and "forming limit curve" in n.text for n in steel.notes)
    assert "T132" not in codes(copper)


def test_weak_press_is_told_to_strike_less_at_a_time():
    plan = will_it_strike(coin(0.5), material="copper", thickness_mm=0.5, press=press(force=100.0))
    (note,) = [n for n in plan.notes if n.code == "T127"]
    assert plan.press_ok is False
    assert "rubber pad" in note.remedy
    assert plan.blows == np.ceil(1.3 * plan.force_kN[1] / 100.0)
    assert plan.record["area_per_blow_mm2"] == pytest.approx(plan.area_mm2 * 100.0 / (1.3 * plan.force_kN[1]))


def test_press_of_just_the_rated_force_is_enough_and_a_little_less_is_not():
    force = {"force_kN": (50.0, 100.0), "depth_mm": 1.0, "area_mm2": 200.0}
    assert check_press(press(force=130.0), **force).ok is True
    assert check_press(press(force=129.0), **force).ok is False


def test_screw_press_is_held_against_its_energy():
    """kN mm = J: 100 kN over 2 mm, 1.3 times, is 260 J at the most (CALC)."""
    force = {"force_kN": (50.0, 100.0), "depth_mm": 2.0, "area_mm2": 200.0}
    assert check_press(press(energy=260.0), **force).ok is True
    weak = check_press(press(energy=100.0), **force)
    assert (weak.ok, weak.blows) == (False, 3)


def test_block_must_fit_bed_and_daylight():
    big = StrikeOptions(block_mm=(300, 600), closed_height_mm=400)
    strong = replace(
        STOCK.machine("press"), facts={**STOCK.machine("press").facts, "force": Fact(9e5, "kN", "USER", "")}
    )
    plan = will_it_strike(coin(0.5), material="copper", thickness_mm=0.5, press=strong, options=big)
    assert (plan.press_ok, codes(plan).count("T128")) == (False, 2)
    turned = StrikeOptions(block_mm=(390, 490), closed_height_mm=300)
    assert will_it_strike(coin(0.5), material="copper", thickness_mm=0.5, press=strong, options=turned).press_ok is True


def test_press_without_force_is_not_judged():
    plan = will_it_strike(coin(0.5), material="copper", thickness_mm=0.5, press=press(daylight=300.0))
    assert plan.press_ok is None
    assert "T129" in codes(plan)


def test_drive_is_read_from_the_name():
    assert drive_of(STOCK.machine("press")) == "hydraulic"
    assert drive_of(Machine("f", "old fly press", "press")) == "screw"


@pytest.mark.parametrize(
    ("material", "thickness", "more"),
    [("leather", 1.0, {}), ("copper", 0.0, {}), ("copper", 0.5, {"temper": "H99"}), ("copper", float("nan"), {})],
)
def test_senseless_sheet_is_refused_with_what_to_do(material, thickness, more):
    with pytest.raises(OptionError) as refused:
        will_it_strike(coin(0.5), material=material, thickness_mm=thickness, **more)
    assert refused.value.remedy


@pytest.mark.parametrize("bad", [{"detail": "fine"}, {"drive": "steam"}, {"press_rating": 0.5}, {"block_mm": (0, 1)}])
def test_senseless_option_is_refused(bad):
    with pytest.raises(OptionError):
        StrikeOptions(**bad)


def test_machine_that_is_no_press_is_refused():
    with pytest.raises(OptionError, match="not a press"):
        will_it_strike(coin(0.5), material="copper", thickness_mm=0.5, press=STOCK.machine("mill"))


def test_shallow_relief_has_its_net_area_for_a_blank_and_a_deep_one_is_laid_flat():
    shallow = plan_strike(coin(0.5), material="copper", thickness_mm=0.5)
    deep = plan_strike(coin(4.0, slope=2.0, pitch=0.5), material="copper", thickness_mm=0.5)
    assert shallow.record["blank_by"] == "net area of the relief"
    assert deep.record["blank_by"] == "laid flat with the least plastic work"
    assert deep.record["blank_area_mm2"] == pytest.approx(net_area(coin(4.0, slope=2.0, pitch=0.5), 0.5), rel=0.05)
    assert deep.fields[-1].holding == "formed"


def test_net_area_is_that_of_the_slopes():
    x = np.arange(0.0, 10.1, 0.5)
    slope = Relief("slope", np.tile(0.75 * x, (21, 1)), np.ones((21, 21), bool), 0.5)
    assert net_area(slope, 0.01) == pytest.approx(125.0)


def test_picture_of_thinning_is_the_same_twice(tmp_path):
    plan = plan_strike(coin(1.0), material="copper", thickness_mm=0.5)
    first = write_strain(plan, "coin", tmp_path).read_bytes()
    assert first.startswith(b"\x89PNG")
    assert (
        write_strain(plan_strike(coin(1.0), material="copper", thickness_mm=0.5), "coin", tmp_path).read_bytes()
        == first
    )
