"""The layouts of one group of pieces: laid in many orders, along lattices, pressed together, filled up.

A group is what may share a sheet: parts of one material and thickness; those that do not say form groups of their own.
For what is tried and which layout is better see `search`.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from meshflow.model.layout import StoppedBy
from meshflow.nest.corner import narrowed, on_size, press_bands, rectangle, top
from meshflow.nest.fine_turns import Stage, Turner
from meshflow.nest.improve import MOST_PIECES, MOVES_PER_EFFORT, TABLE_COST, Improver
from meshflow.nest.nofit import NoFitCache
from meshflow.nest.outlines import GRID_MM
from meshflow.nest.pace import Pace
from meshflow.nest.patterned import LEAST_COPIES, patterned_layouts
from meshflow.nest.placement import Board, Layout, Size, Step, fits, lay_out
from meshflow.nest.prepare import Piece

__all__ = ["LAYOUTS_PER_EFFORT", "Answer", "Group", "Tries", "left_of"]

LAYOUTS_PER_EFFORT = 32
MOST_PRESSED_OUT = 0.2  # share of the length that pressing is hoped to take off

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


class _BeatenError(Exception):
    """The layout can no longer be better than the best."""


@dataclass(frozen=True, slots=True)
class _Plan:
    """What fixes a layout: the order, and the number of the size to open first."""

    order: tuple[Step, ...]
    size: int = 0


def left_of(stock: dict[int, int], layouts: Sequence[Layout]) -> dict[int, int]:
    """Return what is left of a stock once the sheets of these layouts are taken."""
    left = dict(stock)
    for layout in layouts:
        for board in layout.boards:
            if board.size.index in left:
                left[board.size.index] -= 1
    return left


@dataclass
class Tries:
    """The layouts of one group."""

    pieces: Sequence[Piece]
    group: Group
    nofit: NoFitCache
    pace: Pace
    turner: Turner | None = None
    by_area: bool = False  # whether the rectangle used of the last sheet is to be small, not its length
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
        if effort > 1:  # with other random numbers, or it would go the same ways again
            self.press(answer, number, stock, seed + 1, effort - 1)

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
        self._shrink(pressed, left_of(stock, [found]))
        answer.layouts[number] = pressed
        self.pace.done = until
        self.pace.tell()

    def press_into_a_corner(self, answer: Answer, number: int, seed: int, effort: int) -> None:
        """Make the rectangle small that is used of the last sheet of this group; not where copies are locked on it."""
        layout = answer.layouts[number]
        if self._is_idle() or not layout.boards or layout.boards[-1].size.locked:
            return
        *others, last = layout.boards
        begun = self.pace.done

        def take(band: Board) -> None:
            whole = on_size(band, last.size, self.nofit)
            answer.layouts[number] = Layout([*others, whole], list(layout.left_over))

        def between(made: int) -> None:
            self.pace.check()
            self._say_covered(answer.layouts[number])
            self.pace.done = begun + made * LAYOUTS_PER_EFFORT // MOVES_PER_EFFORT
            self.pace.tell()

        pieces = self.pieces if self.turner is None else self.turner.turned(layout, 0.0)
        press_bands(last, pieces, self.nofit, seed=seed, effort=effort, between=between, take=take)
        self.pace.done = begun + effort * LAYOUTS_PER_EFFORT

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
        wide = [top(board) if self.by_area else board.size.width for board in layout.boards]
        room = sum(length * width for length, width in zip(used, wide, strict=True)) * GRID_MM**2
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
        boards = [self._used_part(board) for board in layout.boards]
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
        whole = [on_size(one, old.size, self.nofit) for one, old in zip(boards, layout.boards, strict=True)]
        return Layout(whole, list(layout.left_over))

    def _used_part(self, board: Board) -> Board:
        """Return a copy of a board, without what shall be kept above the pieces on it."""
        kept = self.by_area and not board.size.shaped
        return on_size(board, narrowed(board.size, top(board)) if kept else board.size, self.nofit)

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
        last = rectangle(layout.boards[-1]) if self.by_area and used else float(used[-1] if used else 0)
        return (float(left), cost, float(len(used)), last, covered * GRID_MM**2)


def _whole(chance: random.Random, count: int) -> int:
    """Return a whole number below `count`; only `random()` keeps its sequence from one Python to the next."""
    return min(int(chance.random() * count), count - 1)
