"""How many courses a strain takes, and how often to anneal between them.

A course is one forming between two anneals. What it may strain the metal is the lesser of two: the strain at which it
necks, ``n`` less what it was rolled before (MEMORY; see `forming_limits`), and 0.6 of its least elongation, the share
that the stretch limits of our tables keep to (COMMON_PRACTICE). The strain before is what raises the yield of a hard
temper over K strain^n. Annealing gives back the strain, not the thickness.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from meshflow.errors import OptionError
from meshflow.model.stock import Fact, Material
from meshflow.tooling.forming_limits import uniform_strain_left

__all__ = ["Course", "anneals_for", "course_of", "softest_temper"]

ELONGATION_SHARE: Final = 0.6


@dataclass(frozen=True, slots=True)
class Course:
    """What one course may strain the metal.

    Parameters
    ----------
    strain : float
        Logarithmic strain.
    strain_before : float
        Of cold rolling, from the yield of the temper.
    why : str
        Which of the two rules it is.
    """

    strain: float
    strain_before: float
    why: str


def softest_temper(material: Material) -> str:
    """Return the temper with the greatest elongation: the annealed one; empty where the table has no tempers."""
    known = {name: rows["elongation"].span[0] for name, rows in material.tempers.items() if "elongation" in rows}
    return max(known, key=lambda name: known[name]) if known else ""


def course_of(material: Material, temper: str) -> Course | None:
    """Return what one course may strain a metal in a temper; None where neither exponent nor elongation is known."""
    rows: Mapping[str, Fact] = material.tempers.get(temper, {})
    before, rules = 0.0, []
    if material.hardening is not None:
        hard = material.hardening
        if temper != softest_temper(material) and "yield" in rows and hard.strength_mpa > 0:
            before = float((rows["yield"].span[1] / hard.strength_mpa) ** (1.0 / hard.exponent))
        left = uniform_strain_left(hard.exponent, strain_before=before)
        rules.append((left, f"necking at n = {hard.exponent:g}" + (f" less {before:.2f} of rolling" if before else "")))
    if "elongation" in rows:
        share = 0.01 * rows["elongation"].span[0]
        rules.append((math.log1p(ELONGATION_SHARE * share), f"0.6 of the {100 * share:g} % elongation"))
    return Course(min(rules)[0], before, min(rules)[1]) if rules else None


def anneals_for(strain: float, *, first: float, later: float, softened: bool) -> tuple[int, int]:
    """Return courses and anneals for a strain.

    Parameters
    ----------
    strain : float
        Greatest equivalent strain to be reached.
    first, later : float
        Strain of a course in the temper as bought, and once annealed.
    softened : bool
        Whether the sheet is bought annealed.

    Returns
    -------
    courses, anneals : int
        Sheet bought hard that does not bear the strain is annealed before the first course already.

    Examples
    --------
    >>> anneals_for(0.10, first=0.18, later=0.18, softened=True)
    (1, 0)
    >>> anneals_for(0.40, first=0.18, later=0.18, softened=True)
    (3, 2)
    >>> anneals_for(0.10, first=0.04, later=0.18, softened=False)
    (1, 1)
    """
    if later <= 0.0 or strain < 0.0:
        raise OptionError("a course must allow some strain.", remedy="Correct elongation in your stock file.")
    if strain <= first * (1.0 + 1e-9):
        return 1, 0
    courses = max(math.ceil(strain / later * (1.0 - 1e-9)), 1)
    return courses, courses - 1 + (0 if softened else 1)
