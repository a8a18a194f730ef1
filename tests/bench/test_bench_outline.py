"""Blanking tool and rule die of a foreign outline of 5000 short sides, against what numpy takes to sort."""

from __future__ import annotations

import time

import numpy as np
import pytest

from meshflow.model.curve import Polycurve
from meshflow.model.part import Part
from meshflow.model.tool import Tool
from meshflow.stock import load_stock
from meshflow.tooling.blank import blank_tool
from meshflow.tooling.blank_options import BlankOptions
from meshflow.tooling.ruledie import rule_die
from meshflow.tooling.ruledie_options import RuleDieOptions

MOST_SECONDS = 6.0  # of one core; some 1 to 2 here
MOST_RATIO = 8.0  # times sorting ten million numbers, one million at a time: some 1 to 2 here


def _traced(noise: float) -> np.ndarray:
    angle = np.linspace(0.0, 2.0 * np.pi, 5000, endpoint=False)
    off = np.random.default_rng(1).normal(0.0, noise, len(angle)) if noise else 0.0
    radius = 40.0 + 6.0 * np.cos(5.0 * angle) + 2.0 * np.sin(11.0 * angle) + off
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def _blank(part: Part) -> Tool:
    return blank_tool(part, BlankOptions(material="copper", thickness_mm=0.8), stock=load_stock())


def _rule(part: Part) -> Tool:
    return rule_die(part, RuleDieOptions(material="leather", thickness_mm=3.0), stock=load_stock())


@pytest.mark.parametrize("noise", [0.0, 0.004])
@pytest.mark.parametrize("make", [_blank, _rule])
def test_an_outline_of_five_thousand_sides_takes_seconds(make, noise: float) -> None:
    make(Part("small", Polycurve([[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]])))  # libraries are loaded
    ring, numbers = _traced(noise), np.random.default_rng(0).random(1_000_000)
    start = time.process_time()
    for _ in range(10):
        np.sort(numbers)
    yard = time.process_time() - start
    start = time.process_time()
    tool = make(Part("rosette", Polycurve(ring)))
    took = time.process_time() - start
    print(f"\n{tool.kind}, noise {noise:g} mm: {took:.2f} s of one core, {took / yard:.1f} times sorting 10 M numbers")
    assert took < MOST_SECONDS
    assert took < MOST_RATIO * yard
