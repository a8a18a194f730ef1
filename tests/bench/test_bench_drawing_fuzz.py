"""Ten thousand damaged drawings, DXF and SVG: a drawing or a refusal, soon, and never a traceback."""

from __future__ import annotations

from pathlib import Path

from drawing_mutations import tally

COUNT = 10_000
MOST_SECONDS = 20.0  # CPU, for one file


def test_damaged_drawings_give_a_drawing_or_a_refusal(tmp_path: Path) -> None:
    found = tally(tmp_path, COUNT, 2026)
    print(
        f"\n{COUNT} damaged drawings: {found['drawings']} drawings, {found['refusals']} refusals, "
        f"{len(found['tracebacks'])} tracebacks; slowest {found['slowest_s']:.2f} s"
    )
    assert found["tracebacks"] == []
    assert found["drawings"] + found["refusals"] == COUNT
    assert found["slowest_s"] < MOST_SECONDS
