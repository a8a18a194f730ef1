"""The plainest way to split a surface: cluster the normals, take what hangs together. A yardstick for panels."""

from __future__ import annotations

import warnings

import numpy as np
from scipy.cluster.vq import kmeans2

from meshflow.errors import MeshflowError
from meshflow.flatten import flatten
from meshflow.geometry.topology import submesh
from meshflow.job.panels_measure import rough_strain
from meshflow.model.pattern import Limits
from meshflow.model.surface import Surface
from meshflow.regions import select
from meshflow.regions.panels_cells import pieces_of, sheet_of


def strain_of(vertices, faces):
    """p99 of the strain of a piece laid flat; infinite where it is no disk or its outline runs over itself."""
    try:
        pattern = flatten(select(Surface(vertices, faces)), limits=Limits(9.0, 9.0))
    except MeshflowError:
        return np.inf
    return np.inf if pattern.distortion.overlap else pattern.distortion.strain_percentile(0.99)


def rough_of(vertices, faces):
    """The same, stopped early, as the search of the product asks for."""
    return rough_strain(vertices, faces, 0.0, "middle")


def naive_count(vertices, faces, limit, *, most=400):
    """How many panels k-means on the normals (Lloyd 1982) needs, k as small as keeps all within the limit."""
    sheet = sheet_of(vertices, faces)
    for k in range(1, most):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # an empty cluster is no news here
            _, label = kmeans2(sheet.normals, k, minit="++", seed=1)
        pieces = [
            ids for kind in range(k) if (label == kind).any() for ids in pieces_of(sheet, np.flatnonzero(label == kind))
        ]
        if all(strain_of(*submesh(vertices, faces, ids)[:2]) <= limit for ids in pieces):
            return len(pieces)
    return np.inf
