"""A folder with the organ case's meshes, and small changes to its job."""

from __future__ import annotations

from pathlib import Path

import pytest
from workshop import JOB, set_up


class Bench:
    """A folder with a job in it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.out = folder, folder / "out"
        self.job = set_up(folder)

    def write(self, text: str) -> Path:
        """Put another job in the place of the first."""
        self.job.write_text(text, encoding="utf-8")
        return self.job

    def change(self, *pairs: tuple[str, str]) -> Path:
        """Write the job with some of its lines changed."""
        text = JOB
        for old, new in pairs:
            assert old in text, f"{old!r} is not in the job"
            text = text.replace(old, new, 1)
        return self.write(text)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "work")
