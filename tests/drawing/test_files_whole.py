"""A file appears whole or not at all."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from meshflow.drawing import write_dxf, write_svg
from meshflow.errors import DrawingFileError
from meshflow.model.curve import Polycurve
from meshflow.model.drawing import Drawing, Layer, Stroke

BROKEN = Drawing(
    "broken", (Stroke(Layer.CUT_OUTSIDE, Polycurve([[0, 0], [float("nan"), 0], [0, 1]])),), (0.0, 0.0, 1.0, 1.0)
)
WRITERS = [write_dxf, write_svg]


@pytest.mark.parametrize("write", WRITERS)
def test_the_file_written_is_returned_and_nothing_else_is_left(write, plate_drawing: Drawing, tmp_path: Path) -> None:
    path = write(plate_drawing, str(tmp_path / "plate.out"))
    assert path == tmp_path / "plate.out"
    assert list(tmp_path.iterdir()) == [path]
    assert path.read_bytes().endswith(b"\n")
    assert b"\r" not in path.read_bytes()


@pytest.mark.parametrize("write", WRITERS)
def test_a_drawing_that_cannot_be_written_leaves_the_old_file(write, tmp_path: Path) -> None:
    path = tmp_path / "plate.out"
    path.write_text("earlier")
    with pytest.raises(DrawingFileError, match="finite"):
        write(BROKEN, path)
    assert path.read_text() == "earlier"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("write", WRITERS)
@pytest.mark.parametrize("step", ["replace", "fsync"])
def test_a_full_disk_leaves_the_old_file_and_no_litter(
    write, step: str, plate_drawing: Drawing, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    path = tmp_path / "plate.out"
    path.write_text("earlier")
    monkeypatch.setattr(os, step, fail)
    with pytest.raises(DrawingFileError, match="No space left on device") as caught:
        write(plate_drawing, path)
    assert caught.value.where == str(path)
    assert path.read_text() == "earlier"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("write", WRITERS)
def test_an_interrupt_leaves_the_old_file_and_no_litter(
    write, plate_drawing: Drawing, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    path = tmp_path / "plate.out"
    path.write_text("earlier")
    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write(plate_drawing, path)
    assert path.read_text() == "earlier"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("write", WRITERS)
def test_a_missing_folder_is_said(write, plate_drawing: Drawing, tmp_path: Path) -> None:
    with pytest.raises(DrawingFileError, match="No such file or directory") as caught:
        write(plate_drawing, tmp_path / "nowhere" / "plate.out")
    assert "Check that the folder exists" in str(caught.value)


@pytest.mark.parametrize("write", WRITERS)
def test_a_folder_in_the_place_of_the_file_is_said(write, plate_drawing: Drawing, tmp_path: Path) -> None:
    (tmp_path / "plate.out").mkdir()
    with pytest.raises(DrawingFileError, match="could not be written"):
        write(plate_drawing, tmp_path / "plate.out")
    assert [entry.name for entry in tmp_path.iterdir()] == ["plate.out"]
