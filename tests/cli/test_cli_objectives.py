"""``meshflow flatten --objective``: what each one makes least, what it says, and what it needs to know."""

from __future__ import annotations

import json

import meshes
import numpy as np
import pytest
from workshop import write_off


@pytest.fixture
def dome(shop):
    """A cap of 60 degrees and radius 30 mm in rings: no flat sheet covers it without strain."""
    write_off(shop / "dome.off", meshes.spherical_cap(30.0, np.radians(60), 16))

    def lay(*arguments):
        return meshflow_of("flatten", "dome.off", "--units", "mm", "--smooth", "none", "--out", "flat", *arguments)

    def figures():
        return json.loads((shop / "flat" / "dome.distortion.json").read_text())

    from workshop import run_command as meshflow_of

    return lay, figures
