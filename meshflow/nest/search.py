"""Trying orders of laying, pressing the best layout together, and keeping what is best.

One layout is fixed by the order of the copies, by the pose each may take (mostly any), and by the sheet size that is
opened first. The first layouts take the largest first by four measures of large; the rest change the best order so
far a little (one to three swaps, a move, a pose prescribed) and keep the change unless it is worse.

After the orders come layouts in which pieces of many copies lie along lattices (`patterned`).

Then the best layout is pressed together (`improve`), for `improve.MOVES_PER_EFFORT` moves a unit of effort. Where
there are too many ways to lie for that, more orders are tried instead: `LAYOUTS_PER_EFFORT` a unit of effort.

Effort counts layouts and moves, so the answer is the same on every machine. A time cap only cuts the search short. The
first layout of every group is finished whatever the cap.

Which layout is better: fewer copies left over (by area), then less cost of the sheets taken (their area, where
no prices are known), then fewer sheets, then less length used on the last sheet, then less used area on all.

Fillers, copies that are welcome but not asked for, come last: the largest that still fits, on sheets that are taken
anyway, within the length that is used anyway where the sheet is a rectangle, for what lies beyond is an offcut.

Which sheet size: parts go on open sheets first; when none takes the part, the largest size in stock that fits it is
opened (every other layout of the search prefers another size). After each layout every sheet, the last first, is laid
again on the cheaper sizes, by area, and moves to the first that takes all its parts.

A group is what may share a sheet: parts of one material and thickness; those that do not say form groups of their own.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from meshflow.model.layout import StoppedBy
from meshflow.nest.fine_turns import Stage, Turner
from meshflow.nest.improve import MOST_PIECES, MOVES_PER_EFFORT, TABLE_COST, Improver
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import GRID_MM
from meshflow.nest.patterned import LEAST_COPIES, patterned_layouts
from meshflow.nest.placement import Board, Layout, Size, Step, fits, lay_out
from meshflow.nest.prepare import Piece

__all__ = ["LAYOUTS_PER_EFFORT", "Answer", "Group", "best_layouts"]

LAYOUTS_PER_EFFORT = 32
LAYOUTS_BEFORE = 12  # of each group, before its best is pressed together

MOST_PRESSED_OUT = 0.2  # share of the length that pressing is hoped to take off

Progress = Callable[[str, float], None]
Score = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """What may share a sheet: numbers of pieces, the sizes for them, largest first, and sheets with locked copies."""

    pieces: tuple[int, ...]
    sizes: tuple[Size, ...]
    opened: tuple[Size, ...] = ()


@dataclass
class Answer:
    """Best layout of each group, what ended the search, and the best layouts before they were pressed together.

    `all_tried` says whether every copy has had its turn: else what is missing might still have found a place.
    """

    layouts: list[Layout]
    stopped_by: StoppedBy = "effort"
    all_tried: bool = False
    laid: list[Layout] = field(default_factory=list)


class _OutOfTimeError(Exception):
    """The cap is reached."""


class _BeatenError(Exception):
    """The layout can no longer be better than the best."""


@dataclass(frozen=True, slots=True)
class _Plan:
    """What fixes a layout: the order, and the number of the size to open first."""

    order: tuple[Step, ...]
    size: int = 0


@dataclass
class _Pace:
    """The clock and the one who watches."""

    deadline: float | None
    total: int
    progress: Progress | None
    done: int = 0
    capped: bool = False
    what: str = "nest"

    def check(self) -> None:
        """Raise when the cap is reached and the first layouts are done."""
        if self.capped and self.deadline is not None and time.monotonic() >= self.deadline:
            raise _OutOfTimeError

    def tell(self, share: float = 0.0) -> None:
        """Tell how much is done, `share` of the present layout included."""
        if self.progress is not None:
            self.progress(self.what, min((self.done + share) / self.total, 1.0))


def best_layouts(
    pieces: Sequence[Piece],
    groups: Sequence[Group],
    stock: dict[int, int],
    *,
    seed: int,
    effort: int,
    seconds: float | None,
    progress: Progress | None,
    turner: Turner | None = None,
) -> Answer:
    """Return the best layout found for each group.

    Parameters
    ----------
    pieces : sequence of Piece
        All pieces, sorted by name.
    groups : sequence of Group
        Which pieces share sheets.
    stock : dict of int to int
        Sheets in stock by number of the size; a size that is missing has no end.
    seed, effort : int
        Start of the random numbers, and how many layouts (times `LAYOUTS_PER_EFFORT`).
    seconds : float, optional
        Cap on the time.
    progress : callable, optional
        Called as ``progress(what, share_done)``; ``what`` is "nest" and what the best layout covers so far. A
        KeyboardInterrupt out of it, or from the keyboard, ends the search with the best layouts so far.
    turner : Turner, optional
        Makes turns that are not listed; without it pieces lie at listed turns.

    Returns
    -------
    Answer
        One layout a group, in their order.
    """
    deadline = None if seconds is None else time.monotonic() + seconds
    pace = _Pace(deadline, max(1, len(groups) * (LAYOUTS_BEFORE + effort * LAYOUTS_PER_EFFORT)), progress)
    nofit = NoFitCache()
    tries = [_Tries(pieces, group, nofit, pace, turner) for group in groups]
    answer = Answer([one.opened() for one in tries])
    pace.total += LAYOUTS_PER_EFFORT * sum(one.has_many() for one in tries)
    left = dict(stock)
    try:
        for number, one in enumerate(tries):
            one.first(answer.layouts[number], left)
        pace.capped = answer.all_tried = True
        for number, one in enumerate(tries):
            others = [layout for other, layout in enumerate(answer.layouts) if other != number]
            one.improve(answer.layouts, number, _left(stock, others), seed, LAYOUTS_BEFORE)
        answer.laid = list(answer.layouts)
        for number, one in enumerate(tries):
            others = [layout for other, layout in enumerate(answer.layouts) if other != number]
            one.press_all(answer, number, _left(stock, others), seed, effort)
    except _OutOfTimeError:
        answer.stopped_by = "time"
    except KeyboardInterrupt:
        answer.stopped_by = "interrupt"
    if answer.all_tried:
        _fill(answer, tries)
    return answer


def _fill(answer: Answer, tries: Sequence[_Tries]) -> None:
    """Lay the fillers; an interrupt ends that as well, but where it has ended the search already."""
    try:
        for layouts in (answer.layouts, answer.laid):
            for number, layout in enumerate(layouts):
                layouts[number] = tries[number].filled(layout)
    except KeyboardInterrupt:
        if answer.stopped_by == "interrupt":
            raise
        answer.stopped_by = "interrupt"


def _left(stock: dict[int, int], layouts: Sequence[Layout]) -> dict[int, int]:
    left = dict(stock)
    for layout in layouts:
        for board in layout.boards:
            if board.size.index in left:
                left[board.size.index] -= 1
    return left


@dataclass
class _Tries:
    """The layouts of one group."""

    pieces: Sequence[Piece]
    group: Group
    nofit: NoFitCache
    pace: _Pace
    turner: Turner | None = None
    seen: set[_Plan] = field(default_factory=set)
    patterns_tried: bool = False
    beaten: Layout | None = None

    def opened(self) -> Layout:
        """Return a layout with the sheets on which copies are locked, and no others."""
        return Layout([Board(size, self.nofit) for size in self.group.opened])

    def first(self, layout: Layout, stock: dict[int, int]) -> None:
        """Lay the copies by area, largest first, into `layout` and take the sheets out of `stock`."""
        plan = self._starts()[0]
        self.seen.add(plan)
        if not self.group.sizes:
            layout.left_over += [step.piece for step in plan.order]
            return
        self._lay(layout, plan, stock, None)
        self._shrink(layout, stock)
        self._say_covered(layout)
        self.pace.done += 1

    def improve(self, layouts: list[Layout], number: int, stock: dict[int, int], seed: int, count: int) -> None:
        """Try `count` layouts in all and keep the best at ``layouts[number]``."""
        if self._is_idle():
            return
        chance = random.Random(seed)
        starts = self._starts()
        kept, best = starts[0], self._score(layouts[number])
        for turn in range(1, count):
            plan = starts[turn] if turn < len(starts) else self._changed(kept, chance)
            if plan not in self.seen:
                self.seen.add(plan)
                layout = self._full(plan, dict(stock), best)
                score = best if layout is None else self._score(layout)
                if layout is not None and score <= best:
                    layouts[number], kept, best = layout, plan, score
                    self._say_covered(layout)
            self.pace.done += 1
            self.pace.tell()
        self._try_patterns(layouts, number, stock, starts[0])

    def _try_patterns(self, layouts: list[Layout], number: int, stock: dict[int, int], plan: _Plan) -> None:
        """Try layouts along lattices, the first time; where one is the best, what it has beaten stays in `beaten`.

        Not where copies are locked: a lattice begins at the edge of an empty sheet.
        """
        if self.patterns_tried or self.group.opened:
            return
        self.patterns_tried = True
        order = list(dict.fromkeys(step.piece for step in plan.order))
        options = {"between": self.pace.check}
        for layout, left in patterned_layouts(order, self.pieces, self.group.sizes, stock, self.nofit, **options):
            self._shrink(layout, left)
            if self._score(layout) < self._score(layouts[number]):
                self.beaten = self.beaten or layouts[number]
                layouts[number] = layout
                self._say_covered(layout)

    def press_all(self, answer: Answer, number: int, stock: dict[int, int], seed: int, effort: int) -> None:
        """Press the best layout, and before it what a lattice has beaten; go on from the better of the two.

        A lattice leaves little to press, so what was longer before may be shorter after.
        """
        beaten = self.beaten
        if beaten is None or not self._may_win(beaten, answer.layouts[number]):
            self.pace.done += LAYOUTS_PER_EFFORT if self.has_many() else 0
            self.press(answer, number, stock, seed, effort)
            return
        best = answer.layouts[number]
        for start in (beaten, best):
            answer.layouts[number] = start
            try:
                self.press(answer, number, stock, seed, 1)
            finally:
                if self._score(answer.layouts[number]) > self._score(best):
                    answer.layouts[number] = best
                best = answer.layouts[number]
        if effort > 1:
            self.press(answer, number, stock, seed, effort - 1)

    def _may_win(self, beaten: Layout, best: Layout) -> bool:
        """Return whether pressing may make up for what a layout is longer than the best."""
        few = all(len(board.spots) <= MOST_PIECES for board in beaten.boards[-1:])
        (*before, length, _), (*now, least, _) = self._score(beaten), self._score(best)
        return few and before == now and length <= least * (1.0 + MOST_PRESSED_OUT)

    def has_many(self) -> bool:
        """Return whether a piece has copies enough for a lattice."""
        return any(self.pieces[number].part.quantity >= LEAST_COPIES for number in self.group.pieces)

    def press(self, answer: Answer, number: int, stock: dict[int, int], seed: int, effort: int) -> None:
        """Press the layout of this group together, or try more orders where that costs too much."""
        if self._is_idle():
            return
        until = self.pace.done + effort * LAYOUTS_PER_EFFORT
        made = 0
        for stage in self._stages(effort * MOVES_PER_EFFORT):
            pieces = self.pieces if self.turner is None else self.turner.turned(answer.layouts[number], stage.step_deg)
            if not self._pressed(answer, number, pieces, stage.moves, seed + 7907 * made, effort) and not made:
                self.improve(answer.layouts, number, stock, seed, effort * LAYOUTS_PER_EFFORT)
                answer.laid[number] = answer.layouts[number]
                return
            made += stage.moves
        found = answer.layouts[number]
        pressed = Layout(list(found.boards), list(found.left_over))
        self._shrink(pressed, _left(stock, [found]))
        answer.layouts[number] = pressed
        self.pace.done = until
        self.pace.tell()

    def _stages(self, moves: int) -> Iterable[Stage]:
        return [Stage(moves)] if self.turner is None else self.turner.stages(moves)

    def _pressed(
        self, answer: Answer, number: int, pieces: Sequence[Piece], moves: int, seed: int, effort: int
    ) -> bool:
        """Press for so many moves of each lane; return whether there was anything that can be tried."""
        begun = self.pace.done

        def between(made: int) -> None:
            self.pace.check()
            self._say_covered(improver.layout, improver.reached)
            self.pace.done = begun + made * LAYOUTS_PER_EFFORT // MOVES_PER_EFFORT
            self.pace.tell()

        improver = Improver(answer.layouts[number], pieces, self.nofit, seed, between)
        if not improver.prepare(TABLE_COST[0] + effort * TABLE_COST[1]):
            return False
        try:
            improver.run(moves)
        finally:
            answer.layouts[number] = improver.layout
        return True

    def _say_covered(self, layout: Layout, last: int | None = None) -> None:
        """Put into the progress how much of the used room a layout covers; `last` is the used length of its last."""
        used = [board.used for board in layout.boards]
        if last is not None and used:
            used[-1] = min(used[-1], last)
        room = sum(length * board.size.width for length, board in zip(used, layout.boards, strict=True)) * GRID_MM**2
        area = sum(self.pieces[spot.piece].area_mm2 for board in layout.boards for spot in board.lying)
        self.pace.what = f"nest, {100.0 * area / room:.1f} % covered" if room else "nest"

    def _is_idle(self) -> bool:
        """Return whether there is nothing to lay, or nothing to lay it on."""
        return not self.group.sizes or not any(self.pieces[number].part.quantity for number in self.group.pieces)

    def filled(self, layout: Layout) -> Layout:
        """Return the layout with fillers wherever they find room."""
        wanted = {n: self.pieces[n].part.most - self.pieces[n].part.quantity for n in self.group.pieces}
        wanted = {n: count for n, count in wanted.items() if count > 0 and n not in layout.left_over}
        if not wanted:
            return layout
        boards = [self._copied(board) for board in layout.boards]
        for board in boards:
            end = board.size.length if board.size.shaped else board.used
            for number in sorted(wanted, key=lambda n: (-self.pieces[n].ring_area, n)):
                piece = self.pieces[number]
                while wanted[number] > 0:
                    spot = board.find(number, piece, piece.poses)
                    if spot is None or spot.x + spot.pose.size[0] > end:
                        break
                    board.put(spot)
                    wanted[number] -= 1
        return Layout(boards, list(layout.left_over))

    def _copied(self, board: Board) -> Board:
        other = Board(board.size, self.nofit)
        for spot in board.spots:
            other.put(spot)
        return other

    def _full(self, plan: _Plan, stock: dict[int, int], best: Score) -> Layout | None:
        layout = self.opened()
        try:
            self._lay(layout, plan, stock, best)
        except _BeatenError:
            return None
        self._shrink(layout, stock)
        return layout

    def _lay(self, layout: Layout, plan: _Plan, stock: dict[int, int], best: Score | None) -> None:
        sizes = self.group.sizes
        ordered = (sizes[plan.size], *sizes[: plan.size], *sizes[plan.size + 1 :])
        laid = 0

        def between() -> None:
            nonlocal laid
            self.pace.check()
            if best is None:
                self.pace.tell(laid / len(plan.order))
            elif len(sizes) == 1 and self._score(layout) > best:
                raise _BeatenError  # more copies only make it longer
            laid += 1

        lay_out(layout, plan.order, self.pieces, ordered, stock, self.nofit, between=between)

    def _shrink(self, layout: Layout, stock: dict[int, int]) -> None:
        """Move each board, the last first, to the cheapest size that takes all its pieces."""
        for place in reversed(range(len(layout.boards))):
            board = layout.boards[place]
            if board.size.locked:
                continue
            cheaper = [size for size in self.group.sizes if size.cost < board.size.cost]
            for size in sorted(cheaper, key=lambda size: (size.cost, size.index)):
                roomy = all(any(fits(pose, size) for pose in self.pieces[spot.piece].poses) for spot in board.spots)
                if stock.get(size.index, 1) < 1 or not roomy:
                    continue
                self.pace.check()
                moved = self._on_one(board, size)
                if moved is not None:
                    layout.boards[place] = moved
                    for index, change in ((size.index, -1), (board.size.index, 1)):
                        if index in stock:
                            stock[index] += change
                    break

    def _on_one(self, board: Board, size: Size) -> Board | None:
        other = Board(size, self.nofit)
        for spot in board.spots:
            piece = self.pieces[spot.piece]
            found = other.find(spot.piece, piece, piece.poses)
            if found is None:
                return None
            other.put(found)
        return other

    def _starts(self) -> list[_Plan]:
        """Return the first plans: the largest first, by area, length, width over length, and both sides."""

        def sides(number: int) -> tuple[int, int]:
            length, width = self.pieces[number].poses[0].size
            return max(length, width), min(length, width)

        graded = any(one.grade for size in self.group.sizes for one in size.fixed)

        def strict(number: int) -> int:
            part = self.pieces[number].part
            asked = [grade for grade in (part.least_grade, *(zone.least_grade for zone in part.zones)) if grade]
            return min(asked) if graded and asked else len(self.pieces) + 99

        measures: list[Callable[[int], float]] = [
            lambda number: self.pieces[number].ring_area,
            lambda number: sides(number)[0],
            lambda number: sides(number)[1],
            lambda number: sum(sides(number)),
        ]
        plans = []
        for measure in measures:
            # Whoever asks for a grade has fewer places to go to: the strictest first.
            numbers = sorted(self.group.pieces, key=lambda number: (strict(number), -measure(number), number))
            order = [Step(number) for number in numbers for _ in range(self.pieces[number].part.quantity)]
            plans.append(_Plan(tuple(order)))
        return plans + [_Plan(plans[0].order, size) for size in range(1, len(self.group.sizes))]

    def _changed(self, plan: _Plan, chance: random.Random) -> _Plan:
        order = list(plan.order)
        count = len(order)
        what = chance.random()
        if what < 0.2:
            order.insert(_whole(chance, count), order.pop(_whole(chance, count)))
        elif what < 0.35:
            place = _whole(chance, count)
            order[place] = replace(order[place], pose=self._any_pose(order[place].piece, chance))
        else:
            for _ in range(1 + _whole(chance, 3)):
                one, two = _whole(chance, count), _whole(chance, count)
                order[one], order[two] = order[two], order[one]
        size = _whole(chance, len(self.group.sizes)) if chance.random() < 0.1 else plan.size
        return _Plan(tuple(order), size)

    def _any_pose(self, number: int, chance: random.Random) -> int:
        return _whole(chance, len(self.pieces[number].poses) + 1) - 1

    def _score(self, layout: Layout) -> Score:
        left = sum(self.pieces[number].ring_area for number in layout.left_over)
        cost = sum(board.size.cost for board in layout.boards)
        used = [board.used for board in layout.boards]
        covered = sum(length * board.size.width for length, board in zip(used, layout.boards, strict=True))
        return (float(left), cost, float(len(used)), float(used[-1] if used else 0), covered * GRID_MM**2)


def _whole(chance: random.Random, count: int) -> int:
    """Return a whole number below `count`; only `random()` keeps its sequence from one Python to the next."""
    return min(int(chance.random() * count), count - 1)
