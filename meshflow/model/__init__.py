"""What things are: frozen records over read-only arrays, and no algorithms.

Read the modules in the order the work flows: `surface` (the scan), `region` (the piece of it), `pattern` (that
piece laid flat), `part` (dressed for cutting), `layout` (placed on sheets), `drawing` (curves by layer).
`finding` is what a check says; `stock` is what the workshop owns and buys.
"""
