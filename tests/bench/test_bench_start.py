"""How long it takes to import the library and to show the help: whole processes, median of seven."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

import pytest


@pytest.mark.parametrize(
    ("name", "arguments", "most"),
    [("import", ["-c", "import meshflow"], 3.0), ("help", ["-m", "meshflow", "--help"], 8.0)],
)
def test_start_is_instant(name, arguments, most, benchmark):
    def wall(command):
        began = time.perf_counter()
        subprocess.run([sys.executable, *command], check=True, capture_output=True)
        return time.perf_counter() - began

    pairs = [(wall(arguments), wall(["-c", "pass"])) for _ in range(7)]
    ratio = statistics.median(ours / bare for ours, bare in pairs)
    benchmark.extra_info.update(ratio=ratio)
    benchmark.pedantic(lambda: wall(arguments), rounds=5)
    seconds = statistics.median(ours for ours, _ in pairs)
    print(f"\n{name}: {1000 * seconds:.0f} ms, {ratio:.2f} times an empty Python")
    assert ratio <= most
