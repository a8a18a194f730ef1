"""The folder a run writes to: whole or untouched, and nothing removed that is not ours."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

import pytest
from workshop import contents

from meshflow.errors import InputError
from meshflow.job.folder import check_folder, draft_in, prepare_folder, publish, stale_files
from meshflow.job.swap import put_back


def fill(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return folder


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def test_a_draft_is_moved_to_its_place_and_leaves_nothing_behind(tmp_path):
    with draft_in(tmp_path) as draft:
        fill(draft, {"patterns/a.dxf": "A", "job.html": "J"})
        assert publish(draft, tmp_path) == ("job.html", "patterns/a.dxf")
    assert contents(tmp_path) == {"job.html": b"J", "patterns/a.dxf": b"A"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.html", "patterns"]


def test_files_of_an_earlier_run_are_replaced(tmp_path):
    fill(tmp_path, {"a": "old", "b": "kept"})
    with draft_in(tmp_path) as draft:
        publish(fill(draft, {"a": "new"}), tmp_path)
    assert contents(tmp_path) == {"a": b"new", "b": b"kept"}


def test_a_draft_that_fails_leaves_the_earlier_run_as_it_was(tmp_path):
    fill(tmp_path, {"a": "old"})
    draft = draft_in(tmp_path)
    fill(draft.__enter__(), {"a": "new"})
    assert draft.__exit__(KeyboardInterrupt, KeyboardInterrupt(), None) is False
    assert contents(tmp_path) == {"a": b"old"}
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


@pytest.mark.parametrize("fatal", [OSError(28, "No space left on device"), KeyboardInterrupt()], ids=["full", "ctrl-c"])
@pytest.mark.parametrize("steps", range(7))
def test_a_move_that_fails_at_any_point_is_undone(tmp_path, monkeypatch, steps, fatal):
    # Three files: one replaced, one new, one taken away: two back-ups, one removal, two renames, the end of the list.
    fill(tmp_path, {"a": "old", "stale": "old"})
    done = []

    def failing(real):
        def step(path, *given, **options):
            if len(done) == steps:
                done.append("failed")
                raise fatal
            done.append(str(path))
            return real(path, *given, **options)

        return step

    with draft_in(tmp_path) as draft:
        fill(draft, {"a": "new", "patterns/b": "new"})
        for place, name in ((os, "link"), (Path, "unlink"), (Path, "replace")):
            monkeypatch.setattr(place, name, failing(getattr(place, name)))
        # A disk without second names is no failure: then the back-ups are copies.
        fails = steps < 6 and not (steps < 2 and isinstance(fatal, OSError))
        if fails:
            with pytest.raises(InputError if isinstance(fatal, OSError) else KeyboardInterrupt):
                publish(draft, tmp_path, remove=["stale"])
        else:
            publish(draft, tmp_path, remove=["stale"])
        monkeypatch.undo()
    new = {"a": b"new", "patterns/b": b"new"}
    assert contents(tmp_path) == ({"a": b"old", "stale": b"old"} if fails else new)


def test_a_second_ctrl_c_while_things_are_put_back_does_not_stop_that(tmp_path, monkeypatch):
    fill(tmp_path, {"a": "old", "b": "old", "c": "old"})
    real, calls = Path.replace, []

    def replace(path, target):
        calls.append(path.name)
        if len(calls) in (3, 4, 6):  # the third move, then twice while the moves are undone
            raise KeyboardInterrupt
        return real(path, target)

    monkeypatch.setattr(Path, "replace", replace)
    with draft_in(tmp_path) as draft, pytest.raises(KeyboardInterrupt):
        publish(fill(draft, {"a": "new", "b": "new", "c": "new"}), tmp_path)
    assert len(calls) > 6
    assert contents(tmp_path) == {"a": b"old", "b": b"old", "c": b"old"}


def test_moves_of_a_run_that_lives_are_left_alone_and_those_of_a_killed_one_put_back(tmp_path, monkeypatch):
    fill(tmp_path, {"a": "old", "b": "old"})
    real, told = Path.replace, []

    def replace(path, target):
        told.append(put_back(tmp_path, draft))
        return real(path, target)

    with draft_in(tmp_path) as draft:
        fill(draft, {"a": "new", "b": "new"})
        monkeypatch.setattr(Path, "replace", replace)
        publish(draft, tmp_path)
        monkeypatch.undo()
        assert put_back(tmp_path, draft) is False
    assert told == [False, False]
    assert contents(tmp_path) == {"a": b"new", "b": b"new"}
    fill(tmp_path / ".meshflow-draft-x/.before", {"0": "older", "moves.json": '[["a", true], ["c", false]]'})
    fill(tmp_path, {"c": "new"})
    with draft_in(tmp_path):
        assert contents(tmp_path) == {"a": b"older", "b": b"new"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b"]


@pytest.mark.parametrize("text", ["", '[["a", tr', '[["../outside", false]]', '[["/etc/x", false]]', "3", '{"a": 1}'])
def test_a_list_that_was_cut_off_or_leads_out_of_the_folder_moves_nothing(tmp_path, text):
    out = tmp_path / "out"
    fill(out, {"a": "kept", ".meshflow-draft-x/.before/moves.json": text})
    fill(tmp_path, {"outside": "mine"})
    with draft_in(out):
        assert contents(out) == {"a": b"kept"}
    assert (tmp_path / "outside").exists()


def test_the_record_is_moved_last(tmp_path, monkeypatch):
    real, order = Path.replace, []
    monkeypatch.setattr(Path, "replace", lambda path, target: (order.append(path.name), real(path, target))[1])
    with draft_in(tmp_path) as draft:
        publish(fill(draft, {"a": "1", "record": "2", "z": "3"}), tmp_path, last="record")
    assert order == ["a", "z", "record"]


def test_a_folder_in_the_way_of_a_file_is_named_and_nothing_moved(tmp_path):
    fill(tmp_path, {"a": "old", "b/inside": "mine"})
    with draft_in(tmp_path) as draft, pytest.raises(InputError) as caught:
        publish(fill(draft, {"a": "new", "b": "new"}), tmp_path)
    assert str(caught.value) == (
        f"{tmp_path}: cannot write b: a folder of that name is in the way. The files of the earlier run are as they "
        "were. Close the program that holds it open, or choose another folder."
    )
    assert contents(tmp_path) == {"a": b"old", "b/inside": b"mine"}


def test_a_file_in_the_way_of_a_folder_is_refused(tmp_path):
    fill(tmp_path, {"patterns": "mine"})
    with draft_in(tmp_path) as draft, pytest.raises(InputError, match="cannot write patterns/a"):
        publish(fill(draft, {"patterns/a": "new"}), tmp_path)
    assert contents(tmp_path) == {"patterns": b"mine"}


def test_the_draft_of_a_run_that_was_killed_is_cleared_a_day_later(tmp_path):
    for name, age in (("old", 2 * 24 * 3600), ("young", 60)):
        fill(tmp_path / f".meshflow-draft-{name}", {"a": "half"})
        os.utime(tmp_path / f".meshflow-draft-{name}", (time.time() - age,) * 2)
    with draft_in(tmp_path):
        pass
    assert [path.name for path in tmp_path.iterdir()] == [".meshflow-draft-young"]


def test_stale_files_are_those_the_record_knows_unchanged(tmp_path):
    fill(tmp_path, {"patterns/old.dxf": "ours", "patterns/mine.dxf": "mine", "sheets/edited.dxf": "ours, edited"})
    fill(tmp_path, {"patterns/new.dxf": "new"})
    earlier = {
        "patterns/old.dxf": digest("ours"),
        "sheets/edited.dxf": digest("ours"),
        "patterns/new.dxf": digest("new"),
        "patterns/gone.dxf": digest("gone"),
    }
    assert stale_files(tmp_path, earlier, {"patterns/new.dxf"}) == (["patterns/old.dxf"], ["sheets/edited.dxf"])


@pytest.mark.parametrize(
    "name",
    ["../outside", "/etc/passwd", "patterns/../../outside", "patterns/..", ".meshflow/x", "a\\b", "other/a", "./a", ""],
)
def test_a_record_cannot_make_us_remove_anything_but_our_own_files(tmp_path, name):
    out = tmp_path / "out"
    fill(tmp_path, {"outside": "mine"})
    fill(out, {"a": "x", "other/a": "x", ".meshflow/x": "x"})
    assert stale_files(out, {name: digest("mine")}, set()) == ([], [])
    assert stale_files(out, {name: digest("x")}, set()) == ([], [])


def test_a_link_is_never_followed_nor_removed(tmp_path):
    fill(tmp_path, {"mine": "ours"})
    (tmp_path / "patterns").mkdir()
    (tmp_path / "patterns/a.dxf").symlink_to(tmp_path / "mine")
    assert stale_files(tmp_path, {"patterns/a.dxf": digest("ours")}, set()) == ([], [])


def test_a_folder_is_made_with_its_parents(tmp_path):
    assert prepare_folder(tmp_path / "a" / "b").is_dir()
    assert list((tmp_path / "a" / "b").iterdir()) == []


def test_a_check_makes_nothing(tmp_path):
    check_folder(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("place", ["file", "file/below", "file/below/deep"])
def test_a_file_is_no_folder(tmp_path, place):
    fill(tmp_path, {"file": "x"})
    for action in (check_folder, prepare_folder):
        with pytest.raises(InputError) as caught:
            action(tmp_path / place)
        assert str(caught.value) == f"{tmp_path / 'file'}: this is a file, not a folder. Choose another folder."


@pytest.mark.parametrize("name", ["a" * 300, "a\0b"])
def test_a_name_that_no_folder_can_have_is_refused(tmp_path, name):
    with pytest.raises(InputError, match=r"cannot write here: .*\. Choose another folder\."):
        prepare_folder(tmp_path / name)


def test_a_folder_without_rights_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("os.access", lambda *_: False)
    with pytest.raises(InputError, match="may not be written to"):
        check_folder(tmp_path / "new")


def test_a_disk_that_turns_out_read_only_is_refused(tmp_path, monkeypatch):
    def refuse(*_, **__):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr("tempfile.mkdtemp", refuse)
    with pytest.raises(InputError, match="cannot write here: Read-only file system"):
        prepare_folder(tmp_path)
