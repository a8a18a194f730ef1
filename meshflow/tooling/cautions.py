"""The cautions that go with a tool: one sentence or two for each kind of work it asks for.

The words are rows of the stock's processes, with their basis and mark, so that a workshop's own stock file can say
more; every one of them ends by deferring to local codes and licensed practice. Nothing here replaces either.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final, Literal, get_args

from meshflow.errors import OptionError
from meshflow.stock import Stock, load_stock

__all__ = ["PROCESS_OF_WORK", "Work", "caution_for"]

Work = Literal[
    "press", "forming", "torch", "pickle", "plating", "casting", "burn-out", "polishing", "edges", "milling",
    "printing", "clicker", "laser", "water-jet", "wet-moulding", "hand-forming",
]  # fmt: skip

PROCESS_OF_WORK: Final = MappingProxyType(
    {
        "press": "punch_press",
        "forming": "press_forming",
        "torch": "annealing",
        "pickle": "pickling",
        "plating": "plating",
        "casting": "casting",
        "burn-out": "wax_burn_out",
        "polishing": "polishing",
        "edges": "deburring",
        "milling": "die_milling",
        "printing": "pattern_printing",
        "clicker": "clicker_press",
        "laser": "laser_nonmetal",
        "water-jet": "water_jet",
        "wet-moulding": "wet_forming",
        "hand-forming": "hand_forming",
    }
)


def caution_for(*works: Work, stock: Stock | None = None) -> tuple[str, ...]:
    """Return the caution of each kind of work, in the order asked for and none twice.

    Parameters
    ----------
    *works : str
        ``press`` (cutting under a press), ``forming`` (striking under a press), ``torch``, ``pickle``, ``plating``,
        ``casting``, ``burn-out``, ``polishing``, ``edges``, ``milling``, ``printing``, ``clicker``, ``laser`` (leather,
        board and plastic), ``water-jet``, ``wet-moulding``, ``hand-forming``.
    stock : Stock, optional
        Where the words are; our own tables when left out.

    Returns
    -------
    tuple of str
        Each opens with the name of the process and ends with the sentence that defers to local codes and licensed
        practice.

    Raises
    ------
    OptionError
        If a word is no kind of work.

    Examples
    --------
    >>> caution_for("pickle")[0][:42]
    'Pickling: Add acid to water, never water t'
    """
    known = load_stock() if stock is None else stock
    for work in works:
        if work not in PROCESS_OF_WORK:
            raise OptionError(f'"{work}" is no kind of work.', remedy=f"Known: {', '.join(get_args(Work))}.")
    processes = (known.process(PROCESS_OF_WORK[work]) for work in dict.fromkeys(works))
    return tuple(f"{process.name}: {process.caution}" for process in processes)
