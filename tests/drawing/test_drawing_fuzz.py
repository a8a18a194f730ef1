"""Five hundred damaged drawings: a drawing or a refusal, soon, and never a traceback."""

from __future__ import annotations

from pathlib import Path

from drawing_mutations import tally

COUNT = 500


def test_damaged_drawings_give_a_drawing_or_a_refusal(tmp_path: Path) -> None:
    found = tally(tmp_path, COUNT, 7)
    assert found["tracebacks"] == []
    assert found["drawings"] + found["refusals"] == COUNT
    assert min(found["drawings"], found["refusals"]) > COUNT // 20  # the damage is neither none nor total
    assert found["slowest_s"] < 20.0  # CPU time: a hang, not a speed
