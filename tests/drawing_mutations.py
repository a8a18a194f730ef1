"""Drawings of the corpus, damaged at random and read in every way.

Run as a script::

    python tests/drawing_mutations.py FOLDER COUNT SEED

It prints one JSON object: how many files gave a drawing, a refusal or a traceback, and the slowest read.
"""

from __future__ import annotations

import json
import sys
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from drawing_corpus import made_files
from mutations import mutated

from meshflow.drawing import read_lines, read_outline, read_part
from meshflow.errors import MeshflowError

WORDS = (
    *(b"nan", b"inf", b"-1", b"0", b"1e308", b"1e-320", b"99999999999999999999", b"INSERT", b"SPLINE", b"SEQEND"),
    *(b"<use href='#a'/>", b"&a;", b"M", b"A1 1 0 0 1", b"matrix(0 0 0 0 0 0)", b"]]>", b"\xff", b"%", b"\r\n"),
)
READ: tuple[Callable[..., Any], ...] = (read_part, read_lines, read_outline)


def damaged(data: bytes, random: np.random.Generator) -> bytes:
    """Damage some bytes, among them those of entities: put a telling word or another number in place of a line."""
    if random.random() < 0.5:
        return mutated(data, random)
    lines = data.split(b"\n")
    for _ in range(int(random.integers(1, 4))):
        at = int(random.integers(len(lines)))
        word = WORDS[int(random.integers(len(WORDS)))]
        lines[at] = [word, lines[at][: len(lines[at]) // 2] + word, lines[int(random.integers(len(lines)))]][
            int(random.integers(3))
        ]
    return b"\n".join(lines)


def tally(folder: Path, count: int, seed: int) -> dict[str, Any]:
    """Read `count` damaged files; what is neither a drawing nor a refusal is a traceback."""
    random = np.random.default_rng(seed)
    files = [(path.suffix, path.read_bytes()) for path in made_files(folder)]
    found: dict[str, Any] = {"drawings": 0, "refusals": 0, "tracebacks": [], "slowest_s": 0.0}
    for number in range(count):
        suffix, data = files[number % len(files)]
        path = folder / f"damaged{suffix}"
        path.write_bytes(damaged(data, random))
        start = time.process_time()
        try:
            READ[number % len(READ)](path, units="mm")
            found["drawings"] += 1
        except MeshflowError:
            found["refusals"] += 1
        except Exception:
            found["tracebacks"].append(traceback.format_exc()[-1500:])
            (folder / f"failed{number}{suffix}").write_bytes(path.read_bytes())
        found["slowest_s"] = max(found["slowest_s"], time.process_time() - start)
    return found


if __name__ == "__main__":
    warnings.simplefilter("error")
    sys.stdout.write(json.dumps(tally(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))))
