"""Everything meshflow can refuse, as one tree.

::

    MeshflowError
    |-- InputError (ValueError)        something the user gave cannot be used
    |   |-- UnitError                  no unit, or one that means two things
    |   |-- MeshFileError              the mesh file lies, is cut short, or is not a mesh
    |   |-- DrawingFileError           the drawing file cannot be read
    |   |-- JobFileError               the job file is wrong; carries every mistake at once
    |   `-- OptionError                an option out of range, or two that contradict
    |-- SelectionError (LookupError)   the selector names nothing, or too much
    |-- StockError (LookupError)       no such material, process, sheet or machine
    |-- TopologyError (ValueError)     the piece cannot be opened flat: closed, handled, torn
    |-- FlattenError (ArithmeticError) no valid flat shape was found
    |-- NestError (ValueError)         parts or sheets that make no sense
    |-- VerificationError (AssertionError)  the independent check refused our own result
    |-- FaultError (RuntimeError)      a mistake in meshflow itself, named so that it can be reported
    `-- MissingExtraError (ImportError)     an optional part is not installed

Each error says what happened, where (file, part, faces) and what to do. ``str(error)`` is one line that a
practitioner can act on; the structured fields carry the same for programs.
"""

from __future__ import annotations

from collections.abc import Sequence

__all__ = [
    "DrawingFileError",
    "FaultError",
    "FlattenError",
    "InputError",
    "JobFileError",
    "MeshFileError",
    "MeshflowError",
    "MissingExtraError",
    "NestError",
    "OptionError",
    "SelectionError",
    "StockError",
    "TopologyError",
    "UnitError",
    "VerificationError",
]


class MeshflowError(Exception):
    """Root of all errors that meshflow raises on purpose.

    Parameters
    ----------
    what : str
        What is wrong, in words of the trade.
    where : str, optional
        File, part or line the message speaks of; printed first.
    remedy : str, optional
        What the user can do; printed last.
    faces : sequence of int, optional
        Face ids of the surface the message speaks of.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "", faces: Sequence[int] = ()) -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        self.faces = tuple(int(face) for face in faces)
        super().__init__(what)

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.remedy}" if self.remedy else head

    def located(self, where: str) -> MeshflowError:
        """Return this error with `where` filled in, unless it already says where."""
        if not self.where:
            self.where = where
        return self


class InputError(MeshflowError, ValueError):
    """Something the user gave cannot be used."""


class UnitError(InputError):
    """A length without a unit, or with a unit that means two things."""


class MeshFileError(InputError):
    """A mesh file that lies, is cut short, or is no mesh."""


class DrawingFileError(InputError):
    """A drawing file that cannot be read."""


class JobFileError(InputError):
    """A job file with mistakes; `problems` holds one ready line for each."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(self.problems))


class OptionError(InputError):
    """An option out of its range, or two options that contradict."""


class SelectionError(MeshflowError, LookupError):
    """A selector that names no face, or cannot be understood."""


class StockError(MeshflowError, LookupError):
    """A material, process, sheet or machine that the stock tables do not hold."""


class TopologyError(MeshflowError, ValueError):
    """A piece that cannot be opened flat as it is."""


class FlattenError(MeshflowError, ArithmeticError):
    """No valid flat shape was found."""


class NestError(MeshflowError, ValueError):
    """Parts or sheets that make no sense together."""


class VerificationError(MeshflowError, AssertionError):
    """The independent check refused a result of our own; nothing was written."""


class FaultError(MeshflowError, RuntimeError):
    """A mistake in meshflow itself: an exception that nobody raised on purpose.

    Parameters
    ----------
    error : Exception
        What was raised.
    frames : sequence of str
        Where it was raised, outermost first, such as ``meshflow/flatten/rims.py:40``.
    where : str, optional
        Part or file that was worked on.
    """

    def __init__(self, error: BaseException, *, frames: Sequence[str] = (), where: str = "") -> None:
        self.frames = tuple(frames)
        place = f" at {self.frames[-1]}" if self.frames else ""
        said = " ".join(f"{type(error).__name__}: {error}".split())[:300]
        super().__init__(
            f"this is a fault of meshflow, not of your files ({said}{place}).",
            where=where,
            remedy="Please report it with this message and the files it was given.",
        )


class MissingExtraError(MeshflowError, ImportError):
    """An optional part is not installed.

    Parameters
    ----------
    package : str
        The package that could not be imported.
    extra : str
        The extra of ``meshflow-workshop`` that brings it.
    purpose : str
        What it is needed for.
    """

    def __init__(self, package: str, *, extra: str, purpose: str) -> None:
        super().__init__(
            f"{purpose} needs the package {package}, which is not installed.",
            remedy=f'Install it with: pip install "meshflow-workshop[{extra}]"',
        )
