"""Pure functions on arrays: no files, no records, no state.

`topology` (edges, loops, shells), `triangles` (areas, angles, normals), `operators` (Laplacians, masses, bending),
`linear` (the one door to sparse factorisation), `geodesics`, `closest` (the nearest point of a surface),
`curves` over `pieces` (measures of lines and arcs),
`arcs` over `sagitta`, `corners` and `circles` (fitting them to a polyline), `polygons` (the one door to shapely),
`transforms`, `lettering`.
"""
