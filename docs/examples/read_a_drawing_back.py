"""Write a part as DXF, read the file back as a part, and measure it.

A washer of 50 mm with a hole of 20 mm has an area of pi (25^2 - 10^2) = 1649.336 mm2.
"""

import tempfile
from pathlib import Path

import meshflow
from meshflow.drawing import read_part
from meshflow.geometry.curves import signed_area
from meshflow.model.curve import Circle
from meshflow.model.part import Part


def area_mm2() -> float:
    """The area of the part that comes back."""
    washer = Part("washer", Circle((25.0, 25.0), 25.0), holes=(Circle((25.0, 25.0), 10.0),))
    with tempfile.TemporaryDirectory() as folder:
        file = meshflow.write_dxf(washer, Path(folder, "washer.dxf"), version="R12")
        back = read_part(file)
    return abs(signed_area(back.outline)) - sum(abs(signed_area(hole)) for hole in back.holes)


if __name__ == "__main__":
    print(f"{area_mm2():.3f} mm2")
