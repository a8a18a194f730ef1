"""Stage 2: pick a piece of the scan and make it ready to lie flat.

Terms: a *selector* is the maker's word for a piece (`selector`); the *rim* is its outer boundary loop, an *opening* any
other loop; a *seam* is the cut that opens a ring; the *neutral surface* lies in the middle of the thickness.

The way through: `select` reads the selector (`selector`); each term divides the surface (`terms`, `disc`, `growth` over
`quiet_normals`, `line` over `landing` and `loop`), divisions are laid over each other (`overlay`), the rim
is moved or smoothed (`rim_moves` over `band` and `imprint`), and `pick` takes the one piece that is meant. What cannot
be opened flat is refused (`topology`), a ring is opened (`rims`, `seam`), and a `Region` is handed out whose vertices
still lie on the scan. After it has been smoothed, `neutral_surface` moves it into the middle of the thickness
(`neutral`).

Findings of this stage
----------------------
=====  ========  ==============================================================================
code   severity  meaning
=====  ========  ==============================================================================
R101   note      loose bits under 1 % of the area were left out
R102   note      faces that hung on by one corner were left out
R103   note      a ring was opened: where, how long the seam is, and why
R104   note      openings were kept as openings
R105   warning   a point of the selector lies off the surface; the nearest point was taken
R106   note      the disc runs over the edge of the scan
R107   warning   a ring was kept closed at the maker's word although it cannot lie flat so
R108   note      how much of the piece is not measured: conjecture, or a mirror image
R110   warning   the offset to the neutral surface is more than the tightest curve allows
R111   note      the offset at very sharp corners was held back
R120   note      how long a drawn line runs along the surface, and what it parts
R121   note      an amount had no rim to move: all of it is the edge of the scan
=====  ========  ==============================================================================
"""

from meshflow.regions.neutral import neutral_surface
from meshflow.regions.selection import select

__all__ = ["neutral_surface", "select"]
