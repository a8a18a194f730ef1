"""The same job twice, in other processes, under four hash seeds: the same bytes."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from workshop import JOB, contents, set_up

from meshflow.job.run import run

SEEDS = range(4)
ONE_RUN = "import sys, meshflow; meshflow.run(sys.argv[1], out=sys.argv[2])"


def hashes(out: Path) -> dict[str, str]:
    """Hash of every output; of the record, all but times, machine and work."""
    files = contents(out)
    record = json.loads(files["job.record.json"])
    for key in ("times", "machine", "work"):
        del record[key]
    files["job.record.json"] = json.dumps(record).encode()
    return {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    text = JOB.replace("png = false", 'png = false\ndxf = ["R2010", "R12"]').replace("effort = 1", "effort = 2")
    return set_up(tmp_path_factory.mktemp("repeat"), text)


@pytest.fixture(scope="module")
def under_seeds(job):
    """The outputs of the job, run in a process of its own for each seed."""

    def one(seed):
        out = job.parent / f"seed-{seed}"
        environment = {**os.environ, "PYTHONHASHSEED": str(seed), "OMP_NUM_THREADS": str(1 + seed % 2)}
        subprocess.run([sys.executable, "-c", ONE_RUN, job, out], env=environment, check=True, timeout=120)
        return hashes(out)

    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(one, SEEDS))


def test_four_hash_seeds_give_the_same_bytes(under_seeds):
    first = under_seeds[0]
    assert {".dxf", ".svg", ".json", ".html", ".ply"} == {Path(name).suffix for name in first}
    for other in under_seeds[1:]:
        assert other == first


def test_this_process_gives_the_bytes_of_the_others(job, under_seeds):
    run(job, out=job.parent / "here")
    run(job, out=job.parent / "here")
    assert hashes(job.parent / "here") == under_seeds[0]


def test_a_picture_is_the_same_twice(tmp_path):
    for name in ("one", "two"):
        run(set_up(tmp_path / name, JOB.replace("png = false", "png = true")), out=tmp_path / name / "out")
    assert hashes(tmp_path / "one" / "out") == hashes(tmp_path / "two" / "out")
