"""Where the maker wants the seam of a ring, read into its parts.

Grammar::

    x,y,z                  through the vertex nearest to the point [mm], from there the shortest ways to both rims
    plane=nx,ny,nz,d       along the section with the plane of all p with n . p = d, cut through the faces; n need not
                           have length 1. A plane cuts a ring more than once: the shortest section from rim to rim is
                           taken
    plane=nx,ny,nz,d@x,y,z the same, but the section that passes nearest to the point
    none                   no seam: every opening stays an opening

Nothing said: the shortest way along edges between the two rims, where a seam is needed at all.
"""

from __future__ import annotations

from dataclasses import dataclass

from meshflow.regions.selector import parse_plane, parse_point

__all__ = ["SEAM_GRAMMAR", "SeamPlace", "parse_seam"]

SEAM_GRAMMAR = 'Say seam = "x,y,z" (a point it runs through), "plane=nx,ny,nz,d", "plane=nx,ny,nz,d@x,y,z" or "none".'


@dataclass(frozen=True, slots=True)
class SeamPlace:
    """Where the maker wants the seam.

    Parameters
    ----------
    text : str
        As written.
    point : (float, float, float), optional
        A point it runs through, or nearest to which it runs [mm].
    plane : (float, float, float, float), optional
        Unit normal and distance of a plane it lies in.
    none : bool
        No seam at all.
    """

    text: str
    point: tuple[float, float, float] | None = None
    plane: tuple[float, float, float, float] | None = None
    none: bool = False


def parse_seam(text: str) -> SeamPlace:
    """Read the maker's word for a seam.

    Parameters
    ----------
    text : str
        See the grammar of this module.

    Returns
    -------
    SeamPlace
        Its parts.

    Raises
    ------
    SelectionError
        If it does not follow the grammar; the message shows it.

    Examples
    --------
    >>> parse_seam("plane=0,2,0,10").plane
    (0.0, 1.0, 0.0, 5.0)
    """
    text = text.strip()
    if text == "none":
        return SeamPlace(text, none=True)
    if not text.startswith("plane="):
        return SeamPlace(text, point=parse_point(text, text, remedy=SEAM_GRAMMAR))
    equation, at, place = text.removeprefix("plane=").partition("@")
    point = parse_point(place, text, remedy=SEAM_GRAMMAR) if at else None
    return SeamPlace(text, point=point, plane=parse_plane(equation, text, SEAM_GRAMMAR))
