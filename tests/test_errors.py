"""The error tree: drawn as it is, catchable as the builtins, readable in one line."""

from __future__ import annotations

import inspect

import pytest

import meshflow.errors as errors
from meshflow.errors import InputError, JobFileError, MeshFileError, MeshflowError, MissingExtraError

# Each error with its parent in the tree and the builtin that callers may catch instead.
TREE: dict[str, tuple[str, type[Exception]]] = {
    "InputError": ("MeshflowError", ValueError),
    "UnitError": ("InputError", ValueError),
    "MeshFileError": ("InputError", ValueError),
    "DrawingFileError": ("InputError", ValueError),
    "JobFileError": ("InputError", ValueError),
    "OptionError": ("InputError", ValueError),
    "SelectionError": ("MeshflowError", LookupError),
    "StockError": ("MeshflowError", LookupError),
    "TopologyError": ("MeshflowError", ValueError),
    "FlattenError": ("MeshflowError", ArithmeticError),
    "NestError": ("MeshflowError", ValueError),
    "VerificationError": ("MeshflowError", AssertionError),
    "FaultError": ("MeshflowError", RuntimeError),
    "MissingExtraError": ("MeshflowError", ImportError),
}


def test_the_public_list_is_the_whole_tree() -> None:
    defined = {
        name
        for name, value in vars(errors).items()
        if inspect.isclass(value) and issubclass(value, Exception) and value.__module__ == errors.__name__
    }
    assert defined == set(errors.__all__) == {"MeshflowError", *TREE}


@pytest.mark.parametrize("name", TREE)
def test_each_error_has_its_parent_and_its_builtin(name: str) -> None:
    parent, builtin = TREE[name]
    kind = getattr(errors, name)
    inherited = (getattr(errors, parent), builtin) if parent == "MeshflowError" else (InputError,)
    assert kind.__bases__ == inherited
    assert issubclass(kind, builtin)
    assert issubclass(kind, MeshflowError)


def test_the_drawn_tree_shows_each_error_under_its_parent() -> None:
    lines = [
        line for line in (errors.__doc__ or "").splitlines() if "Error" in line and ("|--" in line or "`--" in line)
    ]
    branch = ""
    for line in lines:
        name = line.split("-- ")[1].split()[0]
        indented = line.startswith("    |   ")
        branch = branch if indented else name
        assert TREE[name][0] == (branch if indented else "MeshflowError")
        if not indented:
            assert f"({TREE[name][1].__name__})" in line
    assert len(lines) == len(TREE)


def test_an_error_reads_as_where_what_and_remedy() -> None:
    error = MeshFileError("no unit given, and STL carries none.", where="neck.stl", remedy="Say --units mm.")
    assert str(error) == "neck.stl: no unit given, and STL carries none. Say --units mm."
    assert (error.what, error.where, error.remedy) == (error.args[0], "neck.stl", "Say --units mm.")


def test_an_error_without_place_or_remedy_is_just_its_sentence() -> None:
    assert str(InputError("nothing to do.")) == "nothing to do."
    assert str(InputError("nothing to do.", where="a.stl")) == "a.stl: nothing to do."
    assert str(InputError("nothing to do.", remedy="Wait.")) == "nothing to do. Wait."


def test_faces_are_kept_as_plain_whole_numbers() -> None:
    import numpy as np

    error = MeshflowError("holes.", faces=np.array([3, 1], dtype=np.int32))
    assert error.faces == (3, 1)
    assert all(type(face) is int for face in error.faces)


def test_a_place_is_filled_in_once() -> None:
    error = InputError("bad.")
    assert error.located("a.stl") is error
    assert str(error.located("b.stl")) == "a.stl: bad."


def test_a_job_error_carries_every_mistake_on_its_own_line() -> None:
    error = JobFileError(["job.toml:1: a.", "job.toml:9: b."])
    assert error.problems == ("job.toml:1: a.", "job.toml:9: b.")
    assert str(error) == "job.toml:1: a.\njob.toml:9: b."


def test_a_missing_extra_says_how_to_install_it() -> None:
    error = MissingExtraError("pyogrio", extra="test", purpose="reading a DXF back")
    assert str(error) == (
        "reading a DXF back needs the package pyogrio, which is not installed. "
        'Install it with: pip install "meshflow-workshop[test]"'
    )
    with pytest.raises(ImportError):
        raise error
