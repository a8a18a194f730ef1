"""Lay six washers on a strip that takes one across.

Washers of 50 mm, 3 mm apart, a clear edge of 10 mm all round: the length used is 10 + 6 * 50 + 5 * 3 + 10 = 335 mm.
"""

import meshflow
from meshflow.model.curve import Circle
from meshflow.model.part import Part
from meshflow.model.stock import Sheet


def used_length_mm() -> float:
    """How much of the strip is used."""
    washer = Part("washer", Circle((25.0, 25.0), 25.0), holes=(Circle((25.0, 25.0), 10.0),), quantity=6)
    strip = Sheet("strip", length_mm=500.0, width_mm=70.0)
    answer = meshflow.nest([washer], [strip], margin_mm=10.0, spacing_mm=3.0)
    return answer.sheets[0].used_length_mm


if __name__ == "__main__":
    print(f"{used_length_mm():.2f} mm used")
