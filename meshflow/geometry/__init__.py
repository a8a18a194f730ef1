"""Pure functions on arrays: no files, no records, no state.

`topology` (edges, loops, shells), `triangles` (areas, angles, normals), `operators` (Laplacians, masses, bending),
`linear` (the one door to sparse factorisation), `geodesics`, `curves` and `arcs` (lines, arcs, fitting), `polygons`
(the one door to shapely), `transforms`.
"""
