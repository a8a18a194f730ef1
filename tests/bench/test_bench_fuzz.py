"""Twenty thousand damaged files of every format: a surface or a refusal, soon, and nothing else opened."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

COUNT = 20_000
MOST_SECONDS = 10.0  # for one file


def test_damaged_files_give_a_surface_or_a_refusal_and_open_nothing_else(tmp_path: Path) -> None:
    script = Path(__file__).parent.parent / "mutations.py"
    run = subprocess.run(
        [sys.executable, "-W", "error", str(script), str(tmp_path), str(COUNT), "2024"],
        capture_output=True,
        text=True,
        timeout=1800,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    tally = json.loads(run.stdout)
    print(
        f"\n{COUNT} damaged files: {tally['surfaces']} surfaces, {tally['refusals']} refusals, "
        f"{len(tally['tracebacks'])} tracebacks; slowest {tally['slowest_s']:.2f} s ({tally['slowest']})"
    )
    assert tally["tracebacks"] == []
    assert tally["surfaces"] + tally["refusals"] == COUNT
    assert tally["outside"] == [str(script)]  # the one file it opens at the end, to show that the watch sees
    assert tally["slowest_s"] < MOST_SECONDS
