"""What the workshop buys and owns, as tables: read, checked, looked up.

The maker calls this the stock list. Terms: a *row* of a material, process, sheet, hide or machine is a value with its
unit, its source and a *mark* that says how far to trust it (see `meshflow.model.stock`); a *family* is a common name,
such as copper, that stands for one material when no grade is said.

The tables lie in ``tables/*.toml``. A workshop keeps its own numbers in a stock file of the same form, which adds to
the tables and overrides them key by key: see `load_stock`. Lengths are millimetres.
"""

from __future__ import annotations

from meshflow.stock.bending import bend_deduction, din_from_neutral, neutral_from_din, outside_setback
from meshflow.stock.fit import LeastSizes
from meshflow.stock.load import load_stock
from meshflow.stock.lookup import Stock
from meshflow.stock.rules import (
    bend_allowance,
    developed_length,
    din_6935_deduction,
    din_6935_factor,
    least_bend_radius,
    leather_to_buy,
)
from meshflow.stock.standards import iso_2768_angle, iso_2768_deviation, iso_9013_deviation, iso_9013_edge

__all__ = [
    "LeastSizes",
    "Stock",
    "bend_allowance",
    "bend_deduction",
    "developed_length",
    "din_6935_deduction",
    "din_6935_factor",
    "din_from_neutral",
    "iso_2768_angle",
    "iso_2768_deviation",
    "iso_9013_deviation",
    "iso_9013_edge",
    "least_bend_radius",
    "leather_to_buy",
    "load_stock",
    "neutral_from_din",
    "outside_setback",
]
