"""Flattening against the reference library in the same run: CPU time on one thread, energy, flips, memory, growth.

Reference: libigl's scalable locally injective maps (SLIM) and least squares conformal maps (MPL-2.0 wheel), SLIM from
the same start. The surface is a real scan, the Stanford bunny as carried by the package pymeshfix (Stanford 3D Scanning
Repository; free use with credit). Patches are geodesic discs on its flank and round an ear; the large ones are made of
the flank by splitting every face in four, so their shape is that of the scan.
"""

from __future__ import annotations

import importlib.metadata
import json
import os
import resource
import subprocess
import sys
import time

import igl
import meshes
import numpy as np
import pytest
import trimesh

from meshflow.flatten import flatten
from meshflow.flatten.isometric import isometric
from meshflow.flatten.isotropic import DIRICHLET, IsotropicObjective
from meshflow.flatten.newton import ProjectedNewton
from meshflow.flatten.start import first_map
from meshflow.geometry.linear import factorise
from meshflow.geometry.operators import cotan_laplacian
from meshflow.geometry.topology import boundary_loops
from meshflow.geometry.triangles import edge_lengths, face_areas
from meshflow.mesh.mend import mend
from meshflow.mesh.read import read_mesh
from meshflow.regions import select

FLANK, EAR = (1.0, 0.35, 0.5), None


def bunny():
    try:
        files = importlib.metadata.files("pymeshfix") or []
    except importlib.metadata.PackageNotFoundError:
        files = []
    found = [file for file in files if file.name == "StanfordBunny.ply"]
    if not found:
        pytest.skip("the package pymeshfix, which carries the scan, is not installed")
    return mend(read_mesh(found[0].locate(), units="mm"))


@pytest.fixture(scope="module")
def scan():
    return bunny()


def patch(surface, share, place=FLANK, subdivisions=0):
    """A disc whose radius is this share of the scan's length, each face split in four as often as said."""
    low, size = surface.vertices.min(axis=0), np.ptp(surface.vertices, axis=0)
    x, y, z = surface.vertices[np.argmax(surface.vertices[:, 1])] if place is EAR else low + size * place
    region = select(surface, f"at={x},{y},{z} radius={share * size[0]:.6f}", seam="none")
    vertices, faces = region.vertices, region.faces
    for _ in range(subdivisions):
        vertices, faces = trimesh.remesh.subdivide(vertices, faces)
    return vertices / np.sqrt(face_areas(vertices, faces).sum()), np.ascontiguousarray(faces, dtype=np.int64)


def cpu(action):
    began = time.process_time()
    result = action()
    return result, time.process_time() - began


def ours(vertices, faces):
    start, _ = first_map(vertices, faces)
    return start, isometric(vertices, faces, start)


def whole(vertices, faces, *, prove=True):
    """All that a maker waits for: unrolling tried, first map, minimisation, stretch, overlap, bound, verdict."""
    return flatten(meshes.whole_region(vertices, faces), prove=prove)


def theirs(vertices, faces, start, iterations):
    state = igl.slim_precompute(
        np.asfortranarray(vertices),
        np.asfortranarray(faces.astype(np.int32)),
        np.asfortranarray(start),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET,
        np.zeros(0, np.int32),
        np.zeros((0, 2), order="F"),
        0.0,
    )
    return np.ascontiguousarray(igl.slim_solve(state, iterations)[:, :2])


def conformal(vertices, faces):
    rim = boundary_loops(faces)[0]
    pinned = np.array([rim[0], rim[len(rim) // 2]], dtype=np.int32)
    return igl.lscm(
        np.asfortranarray(vertices), np.asfortranarray(faces.astype(np.int32)), pinned, np.array([[0.0, 0], [1, 0]])
    )


def energy_of(vertices, faces, flat):
    solver = ProjectedNewton(vertices, faces)
    return solver.energy(np.ascontiguousarray(flat[solver.order]), IsotropicObjective(DIRICHLET))


# The ear is a tube: its first map is ten thousand times too small at the tip, and ten steps do not get the reference
# to the end of it either.
PATCHES = [
    pytest.param(0.16, FLANK, 0, 0.35, id="4k flank"),
    pytest.param(0.45, EAR, 0, 0.6, id="8k ear"),
    pytest.param(0.32, FLANK, 0, 0.35, id="13k flank"),
    pytest.param(0.60, FLANK, 0, 0.35, id="39k flank"),
    pytest.param(0.32, FLANK, 1, 0.35, id="53k flank, split"),
]


@pytest.mark.parametrize(("share", "place", "subdivisions", "most"), PATCHES)
def test_ten_steps_of_the_reference_take_longer_and_thirty_reach_no_less(
    scan, share, place, subdivisions, most, benchmark
):
    vertices, faces = patch(scan, share, place, subdivisions)
    start, result = ours(vertices, faces)  # compiles
    whole(vertices, faces)
    # In turn, so that the ratio holds while the machine's speed drifts.
    ratios, judged, proven = [], [], []
    for _ in range(3):
        _, mine = cpu(lambda: ours(vertices, faces))
        _, other = cpu(lambda: theirs(vertices, faces, start, 10))
        ratios.append(mine / other)
        judged.append(cpu(lambda: whole(vertices, faces, prove=False))[1] / other)
        proven.append(cpu(lambda: whole(vertices, faces))[1] / other)
    reached = energy_of(vertices, faces, theirs(vertices, faces, start, 30))
    ratio = float(np.median(ratios))
    benchmark.extra_info.update(ratio=ratio, energy=result.energy, reference_energy=reached, faces=len(faces))
    benchmark.pedantic(lambda: ours(vertices, faces), rounds=3)
    print(
        f"\n{len(faces)} faces: {ratio:.3f} of the reference's ten steps, start included ({mine:.3f} s), "
        f"energy {result.energy:.9f} against {reached:.9f} after thirty, {result.iterations} steps; "
        f"{np.median(judged):.2f} measured and judged as well, {np.median(proven):.2f} with the search for a proof"
    )
    assert (face_areas(result.flat, faces) > 0).all()
    assert result.energy <= reached
    assert ratio <= most
    assert float(np.median(judged)) <= max(most, 0.6)


def test_two_hundred_thousand_faces_cost_less_than_one_step_of_the_reference(scan):
    vertices, faces = patch(scan, 0.32, subdivisions=2)
    start, result = ours(vertices, faces)
    mine = float(np.median([cpu(lambda: ours(vertices, faces))[1] for _ in range(3)]))
    flat, other = cpu(lambda: theirs(vertices, faces, start, 1))
    reached = energy_of(vertices, faces, flat)
    print(
        f"\n{len(faces)} faces: {mine / other:.2f} of one step of the reference ({mine:.2f} s), "
        f"energy {result.energy:.7f} against {reached:.7f}"
    )
    assert (face_areas(result.flat, faces) > 0).all()
    assert result.energy <= reached
    assert mine <= 1.0 * other


def test_eight_hundred_thousand_faces(scan, tmp_path):
    """Near-linear growth, cheaper than the reference's conformal map, half of SLIM's memory; each in a process."""
    small = patch(scan, 0.32, subdivisions=1)
    ours(*small)
    whole(*small)
    few = float(np.median([cpu(lambda: ours(*small))[1] for _ in range(3)]))
    few_whole = float(np.median([cpu(lambda: whole(*small))[1] for _ in range(3)]))
    vertices, faces = patch(scan, 0.32, subdivisions=3)
    np.savez(tmp_path / "patch.npz", vertices=vertices, faces=faces)
    floor = _read_weld_and_factorise(vertices, faces)
    told = {what: _in_a_process(tmp_path / "patch.npz", what) for what in ("ours", "whole", "conformal", "slim")}
    mine, all_of_it = told["ours"]["cpu"], told["whole"]["cpu"]
    growth, whole_growth = np.log([mine / few, all_of_it / few_whole]) / np.log(len(faces) / len(small[1]))
    memory = {what: told[what]["bytes"] / 1e6 for what in told}
    print(
        f"\n{len(faces)} faces: {mine:.1f} s; {mine / told['conformal']['cpu']:.2f} of LSCM, "
        f"{mine / told['slim']['cpu']:.2f} of one step of SLIM, {mine / floor:.1f} of reading, welding and one "
        f"factorisation ({floor:.1f} s); {memory['ours']:.0f} MB, {memory['ours'] / memory['slim']:.2f} of SLIM; "
        f"growth n^{growth:.2f} from {len(small[1])} faces ({few:.2f} s); "
        f"energy {told['ours']['energy']:.7f} in {told['ours']['steps']} steps\n"
        f"with stretch, overlap, bound and verdict: {all_of_it:.1f} s; "
        f"{all_of_it / told['conformal']['cpu']:.2f} of LSCM, {all_of_it / floor:.1f} of that floor; "
        f"{memory['whole']:.0f} MB, {memory['whole'] / memory['slim']:.2f} of SLIM; "
        f"growth n^{whole_growth:.2f} ({few_whole:.2f} s)"
    )
    assert told["ours"]["flips"] == told["whole"]["flips"] == 0
    assert mine <= 0.6 * told["conformal"]["cpu"]
    assert mine <= 10.0 * floor
    assert memory["ours"] <= 0.5 * memory["slim"]
    assert growth <= 1.25
    assert all_of_it <= 1.0 * told["conformal"]["cpu"]
    assert all_of_it <= 20.0 * floor
    assert memory["whole"] <= 0.5 * memory["slim"]
    assert whole_growth <= 1.25


def _read_weld_and_factorise(vertices, faces):
    """CPU seconds of what cannot be spared: the corners out of a file, one vertex for each place, one factorisation."""
    soup = vertices.astype(np.float32)[faces].tobytes()

    def read_and_weld():
        corners = np.frombuffer(soup, dtype=np.float32).reshape(-1, 3)
        return np.unique(np.ascontiguousarray(corners).view("V12").reshape(-1), return_inverse=True)

    def factorised():
        laplacian = cotan_laplacian(edge_lengths(vertices, faces), faces, len(vertices))
        laplacian.setdiag(laplacian.diagonal() + 1e-9)
        return factorise(laplacian, points=vertices)

    return cpu(read_and_weld)[1] + cpu(factorised)[1]


def _in_a_process(path, what):
    path_of_tests = {"PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, __file__, str(path), what],
        env={**os.environ, **path_of_tests}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout.splitlines()[-1])


def _worker(path, what):
    """Do one thing with a patch and say what it took."""
    data = np.load(path)
    vertices, faces = data["vertices"], data["faces"]
    (whole if what == "whole" else ours)(*small_dome())  # compiled code loaded
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    told = {}
    if what == "ours":
        (_, result), told["cpu"] = cpu(lambda: ours(vertices, faces))
        told.update(
            energy=result.energy, steps=result.iterations, flips=int((face_areas(result.flat, faces) <= 0).sum())
        )
    elif what == "whole":
        pattern, told["cpu"] = cpu(lambda: whole(vertices, faces))
        told.update(flips=int((face_areas(pattern.vertices, faces) <= 0).sum()), verdict=pattern.verdict.value)
    elif what == "conformal":
        _, told["cpu"] = cpu(lambda: conformal(vertices, faces))
    else:
        start = first_map(vertices, faces)[0]
        _, told["cpu"] = cpu(lambda: theirs(vertices, faces, start, 1))
    told["bytes"] = 1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
    print(json.dumps(told))


def small_dome():
    """A small dome: half of an icosphere."""
    sphere = trimesh.creation.icosphere(subdivisions=3)
    faces = sphere.faces[sphere.triangles_center[:, 2] > 0.3]
    used, kept = np.unique(faces, return_inverse=True)
    return np.array(sphere.vertices[used]), np.ascontiguousarray(kept.reshape(-1, 3), dtype=np.int64)


if __name__ == "__main__":
    _worker(*sys.argv[1:])
