"""Two surfaces as one, with what is known of the faces of both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from meshflow.model.surface import Surface

__all__ = ["beside"]


def beside(one: Surface, two: Surface) -> Surface:
    """Return one surface that has the faces of `one`, then those of `two`; nothing is joined.

    Parameters
    ----------
    one, two : Surface
        Two surfaces of one file, such as a scan and its mirror image: colours and texture are kept where both have
        them. Source and notes are those of `one`.

    Returns
    -------
    Surface
        Face sets of one name are put together.
    """
    count, faces = len(one.vertices), len(one.faces)
    sets = {name: [ids] for name, ids in one.face_sets.items()}
    for name, ids in two.face_sets.items():
        sets.setdefault(name, []).append(ids + faces)
    both: dict[str, np.ndarray | None] = {}
    for name in ("face_colours", "vertex_colours", "texture_uv"):
        first, second = getattr(one, name), getattr(two, name)
        both[name] = None if first is None or second is None else np.concatenate([first, second])
    return replace(
        one,
        vertices=np.concatenate([one.vertices, two.vertices]),
        faces=np.concatenate([one.faces, two.faces + count]),
        face_sets={name: np.concatenate(ids) for name, ids in sets.items()},
        face_colours=both["face_colours"],
        vertex_colours=both["vertex_colours"],
        texture_uv=both["texture_uv"],
        evidence=np.concatenate([np.asarray(one.evidence), np.asarray(two.evidence)]),
        face_origin=np.concatenate([np.asarray(one.face_origin), np.asarray(two.face_origin)]),
    )
