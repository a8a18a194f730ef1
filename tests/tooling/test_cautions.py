"""Cautions: every kind of work has one, with a basis and a mark, and defers to local codes and licensed practice."""

from __future__ import annotations

from typing import get_args

import pytest

from meshflow.errors import OptionError
from meshflow.stock import load_stock
from meshflow.stock.build import DEFERRAL
from meshflow.tooling.cautions import PROCESS_OF_WORK, Work, caution_for


def test_every_kind_of_work_has_a_caution_with_a_mark():
    assert set(get_args(Work)) == set(PROCESS_OF_WORK)
    stock = load_stock()
    for work in get_args(Work):
        (line,) = caution_for(work)
        assert line.endswith(DEFERRAL)
        assert stock.process(PROCESS_OF_WORK[work]).facts["caution"].mark in ("READ", "READ_VIA", "COMMON_PRACTICE")


@pytest.mark.parametrize(
    ("work", "word"),
    [("press", "guarded"), ("torch", "fire-brick"), ("pickle", "Add acid to water"), ("plating", "Cyanide"),
     ("casting", "explode"), ("burn-out", "vapour"), ("polishing", "gloves"), ("edges", "knives"), ("laser", "vinyl"),
     ("water-jet", "pressure"), ("milling", "cutter"), ("printing", "resin")],
)  # fmt: skip
def test_a_caution_names_the_danger(work, word):
    assert word in caution_for(work)[0]


def test_cautions_come_in_order_and_none_twice():
    lines = caution_for("torch", "pickle", "torch")
    assert [line.split(":")[0] for line in lines] == ["Annealing with the torch", "Pickling"]
    with pytest.raises(OptionError, match="no kind of work"):
        caution_for("juggling")


def test_a_workshop_says_more_in_its_own_stock_file(tmp_path):
    file = tmp_path / "stock.toml"
    file.write_text(
        '[process.pickling.caution]\nvalue = "Our shed has no drain: the bath stays in its tray, the door open."\n'
    )
    line = caution_for("pickle", stock=load_stock(file))[0]
    assert "no drain" in line
    assert line.endswith(DEFERRAL)
