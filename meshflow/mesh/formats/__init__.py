"""The six mesh formats, one module each, read from their published definitions.

Every reader is a function ``(data, folder) -> FileMesh``: the bytes of the file, and the folder it lies in for the
few formats that may name a neighbour. It answers in the units of the file, keeps polygons whole and every index
as it was, and raises `MeshFileError` where the file lies. `detect` says which reader to call, `contents` is what
they all answer, `polygons` cuts polygons into triangles; `text`, `strips` and `scene` are tools that several of
them use.
"""
