"""Words for messages."""

from __future__ import annotations

__all__ = ["counted"]


def counted(count: int, noun: str) -> str:
    """Return a number with its noun in the right form.

    Parameters
    ----------
    count : int
        How many.
    noun : str
        One of them; its plural ends in s.

    Returns
    -------
    str
        Such as ``1 face`` or ``3 faces``.

    Examples
    --------
    >>> counted(1, "face"), counted(3, "face")
    ('1 face', '3 faces')
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
