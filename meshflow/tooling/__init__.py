"""Stage 6: tools to strike, form, cut and cast with, and the figures of a tool sheet.

What the maker calls it: tool making. Terms: the *punch* presses from inside, the *die* takes from outside; a *land* is
the flat rim that holds the sheet; a *former* is what leather or metal is worked over; a *pattern* is what a mould is
made from.

Convention: a tool is made from a `Relief` or a flat `Part` in millimetres; heights are positive towards the face that
is seen on the finished piece. Solids are closed and stand as they are milled or printed, z up.
"""
