"""What lattices save: many copies of one shape on a sheet of 2000 x 1000 mm, with them and without, in the same run.

Shapes as a workshop has them: scales, drops, gussets, elbows, leaves of a hinge; spacing 3 mm, margin 10 mm. Figures:
used length and utilisation as laid and as pressed with an effort of 1, and CPU time of the whole call.
Run: ``pytest -s tests/bench/test_bench_lattices.py``.
"""

from __future__ import annotations

import statistics
import time

import numpy as np
import pytest

import meshflow.nest.tries as trying
from meshflow.model.curve import Polycurve
from meshflow.model.layout import Nest
from meshflow.model.part import Part
from meshflow.model.stock import Sheet
from meshflow.nest import nest
from meshflow.nest.lattices import find_lattices
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.placement import Size
from meshflow.nest.prepare import make_pieces

SHEET = Sheet("plate", 2000.0, 1000.0)
TURN = np.linspace(0.0, 2.0 * np.pi, 28, endpoint=False)
LEAF = [
    [0, 0],
    [70, 0],
    [70, 13],
    [82, 13],
    [82, 27],
    [70, 27],
    [70, 40],
    [0, 40],
    [0, 27],
    [12, 27],
    [12, 13],
    [0, 13],
]
SHAPES = {
    "scale": Polycurve([[0, 0], [50, 0], [50, 45], [25, 70], [0, 45]], [0, 0, 0.2, 0.2, 0]),
    "drop": Polycurve(
        np.stack([40 * np.cos(TURN) * (1 + 0.35 * np.cos(TURN)), 22 * np.sin(TURN) * (1 - 0.3 * np.cos(TURN))], axis=1)
    ),
    "gusset": Polycurve([[0, 0], [80, 0], [30, 50]]),
    "elbow": Polycurve([[0, 0], [60, 0], [60, 30], [30, 30], [30, 60], [0, 60]]),
    "leaf": Polycurve(LEAF),
}
LEAST_SAVED = 1.04  # length without over length with lattices, as laid, in the mean: a guard, 1.10 to 1.13 was measured
FIND_S = 1.0  # CPU time of the lattices of one shape; 0.1 to 0.3 s on an idle core


def timed(parts: list[Part]) -> tuple[Nest, float]:
    began = time.process_time()
    answer = nest(parts, [SHEET])
    return answer, time.process_time() - began


def measured(parts: list[Part], monkeypatch: pytest.MonkeyPatch, *, lattices: bool, press: bool) -> tuple[Nest, float]:
    with monkeypatch.context() as patched:
        if not lattices:
            patched.setattr(trying, "patterned_layouts", lambda *_, **__: iter(()))
        if not press:
            patched.setattr(trying.Tries, "press_all", lambda *_: None)
        return timed(parts)


@pytest.mark.parametrize("count", [100, 300])
def test_lattices_save_length(monkeypatch, count):
    timed([Part("warm", SHAPES["gusset"], quantity=20)])  # loads the kernels
    saved: dict[bool, list[float]] = {False: [], True: []}
    print(f"\n{count} copies        without lattices           with lattices")
    for name, outline in SHAPES.items():
        parts = [Part(name, outline, quantity=count)]
        for press in (False, True):
            row = [measured(parts, monkeypatch, lattices=on, press=press) for on in (False, True)]
            lengths = [sum(sheet.used_length_mm for sheet in answer.sheets) for answer, _ in row]
            cells = [
                f"{length:7.1f} mm {100.0 * answer.sheets[0].utilisation:5.1f} % {took:5.2f} s"
                for length, (answer, took) in zip(lengths, row, strict=True)
            ]
            print(
                f"{name:7s} {'pressed' if press else 'laid':8s}", *cells, f"{lengths[0] / lengths[1]:.3f}", flush=True
            )
            saved[press].append(lengths[0] / lengths[1])
            assert lengths[1] <= lengths[0] + 0.01
    print(f"saved in the mean: laid {statistics.mean(saved[False]):.3f}, pressed {statistics.mean(saved[True]):.3f}")
    assert statistics.mean(saved[False]) >= LEAST_SAVED


def test_lattices_of_a_shape_are_found_at_once():
    size = Size(0, 20_000_000, 10_000_000, 0, 1.0)
    for name, outline in SHAPES.items():
        piece = make_pieces([Part(name, outline, quantity=100)], 3.0)[0]
        find_lattices(piece, size, NoFitCache())  # loads the kernels
        began = time.process_time()
        found = find_lattices(piece, size, NoFitCache())
        took = time.process_time() - began
        print(f"\n{name}: {took:.2f} s, best density {max(one.density for one in found):.4f}", end="")
        assert took < FIND_S
