"""The command line run in this process, the way its entry point runs it."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest
from meshflow_cli.main import main
from workshop import set_up


class Said(NamedTuple):
    """What a command left behind."""

    code: int
    out: str
    err: str


@pytest.fixture
def meshflow(capsys, monkeypatch):
    """Call the command line with arguments; returns exit code, standard output and standard error."""
    # A slow computer must not add lines about progress; tests of progress set their own patience.
    monkeypatch.setattr("meshflow_cli.console.PATIENCE", 1e9)

    def call(*arguments: object) -> Said:
        with pytest.raises(SystemExit) as left:
            main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        assert isinstance(left.value.code, int)
        return Said(left.value.code, out, err)

    return call


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with meshes and a job in it, and the place where commands are called."""
    set_up(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path
