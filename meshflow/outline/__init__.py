"""From a flat pattern to a part that can be cut: the maker calls it drawing out, or dressing the pattern.

`outline` draws rim and holes as clean closed contours of lines and arcs, net size, and marks the name, the face that
is up, the grain and the seam notches; a piece that is formed it draws as its blank, with an allowance to trim.
`tryout` makes the acrylic or card piece that is cut first.

Read the modules in the order of work: `frame` (how the piece lies), `contour`, `blank`, `notches`, `room` and `marks`
(what is drawn on it and where it fits), `dress` (all of it), `tryout`.

Findings: L101 to L105 layers that do not fit (`assemble`); D101 how the outline was simplified, D102 the name did not
fit, D103 a hole smaller than the tolerance, D104 a contour crosses itself or another, D105 a rough rim, D106 seam
notches left out, D107 "this face up" left out, D108 grain arrow left out, D109 the inner face is drawn, D110 what a
try-out piece is, D111 the outline is that of a blank, D112 openings marked and not cut, D113 bays closed under the
allowance, D114 what an edge got beyond the net line, D115 an allowance that holds nowhere, D116 openings closed or not
cut, D117 hollow corners to snip, D118 an allowance that the material does not take, D119 the kerf is in the contours;
D140 holes near an edge, D141 near each other, D142 a rivet that does not suit the sheet, D143 points and lines off
the part, D144 holes marked and not cut, D145 stitches left out, D146 what a bend takes off, D147 a bend that was not
corrected, D148 a bend too tight, D149 stitches, D150 this is the opposite hand (`opposite`).
"""

from meshflow.outline.dress import outline
from meshflow.outline.tryout import tryout
from meshflow.rooms import callable_room

__all__ = ["outline", "tryout"]

callable_room(__name__, outline)
