"""The files that `meshflow.mesh.write` writes: one module a format, each from a `Surface` to bytes.

Nothing of the moment goes into them, no date, no name of a machine: the same surface gives the same bytes.
"""
