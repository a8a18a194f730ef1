"""Room 1: a file comes in, a `Surface` goes on; what is wrong with it is said in coded sentences.

`read` opens the six formats and changes nothing but the unit; `check` looks the surface over; what mends, thins
or smooths it are rooms of their own. Codes of the findings, stable for good:

``M1xx`` structure of the file
    M101 facets with coordinates that are no usable numbers, dropped. M102 malformed facets or polygons, skipped or
    cut up as they came. M103 the file ends early, but what is there is complete. M104 a file that the mesh names
    is missing. M105 single-precision coordinates far from the origin. M106 copies placed by the file's own scene,
    mirrored ones included. M107 more data than the file's own counts say. M108 colours, texture or evidence
    that were read by a convention, or left out. M110 and above: the connectivity of the surface.
``M2xx`` its geometry, ``M3xx`` scan dirt
    Both belong to `check`.
"""
