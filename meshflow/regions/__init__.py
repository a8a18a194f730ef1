"""Stage 2: pick a piece of the scan and make it ready to lie flat.

Terms: a *selector* is the maker's word for a piece (`selector`); the *rim* is its outer boundary loop, an *opening* any
other loop; a *seam* is the cut that opens a ring; the *neutral surface* lies in the middle of the thickness.

The way through: `select` reads the selector, picks faces or cuts through them (`pick`, `cut`, `piece`), refuses what
cannot be opened flat (`topology`), opens a ring (`rims`, `seam`) and hands out a `Region` whose vertices still lie on
the scan. After it has been smoothed, `neutral_surface` moves it into the middle of the thickness (`neutral`).

Findings of this stage
----------------------
=====  ========  ==============================================================================
code   severity  meaning
=====  ========  ==============================================================================
R101   note      loose bits under 1 % of the area were left out
R102   note      faces that hung on by one corner were left out
R103   note      a ring was opened: where, how long the seam is, and why
R104   note      openings were kept as openings
R105   warning   the point of the selector lies off the surface; the nearest point was taken
R106   note      the disc runs over the edge of the scan
R107   warning   a ring was kept closed at the maker's word although it cannot lie flat so
R110   warning   the offset to the neutral surface is more than the tightest curve allows
R111   note      the offset at very sharp corners was held back
=====  ========  ==============================================================================
"""

from meshflow.regions.neutral import neutral_surface
from meshflow.regions.selection import select

__all__ = ["neutral_surface", "select"]
