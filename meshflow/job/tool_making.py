"""Which maker makes which kind of tool; the only place that knows all of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from meshflow.job.plan_tools import ToolPlan
from meshflow.model.tool import Tool
from meshflow.stock.lookup import Stock

__all__ = ["made_tool"]

Progress = Callable[[str, float], None]


def made_tool(plan: ToolPlan, source: Any, *, stock: Stock, progress: Progress) -> Tool:
    """Make the tool that a plan asks for.

    Parameters
    ----------
    plan : ToolPlan
        What is asked for.
    source : Relief, Part or Surface
        What it is made from, by its kind.
    stock : Stock
        The workshop's stock.
    progress : callable
        Called as ``progress(what, share_done)``.
    """
    return _MAKERS[plan.kind](plan, source, stock, progress)


def _punch(plan: ToolPlan, source: Any, stock: Stock, progress: Progress) -> Tool:
    from meshflow.job.tool_punch import make_punch
    from meshflow.tooling.strike import StrikeOptions

    return make_punch(
        source,
        plan.options,
        stock=stock,
        material=plan.material,
        temper=plan.temper,
        press=plan.press or None,
        strike=StrikeOptions(detail=plan.detail),
        name=plan.name,
        progress=progress,
    )


def _strip(plan: ToolPlan, source: Any, stock: Stock, progress: Progress) -> Tool:
    from meshflow.job.tool_strip import make_strip
    from meshflow.tooling.strike import StrikeOptions

    return make_strip(
        source,
        plan.options,
        stock=stock,
        material=plan.material,
        temper=plan.temper,
        press=plan.press or None,
        strike=StrikeOptions(detail=plan.detail),
        name=plan.name,
        progress=progress,
    )


def _former(plan: ToolPlan, source: Any, stock: Stock, progress: Progress) -> Tool:
    from meshflow.job.tool_former import make_former

    return make_former(
        source,
        plan.options,
        stock=stock,
        region=plan.region,
        seam=plan.seam,
        name=plan.name,
        lines={line.name: line.points for line in plan.lines},
        progress=progress,
    )


def _cast(plan: ToolPlan, source: Any, stock: Stock, progress: Progress) -> Tool:
    from meshflow.job.tool_cast import make_cast

    return make_cast(
        source,
        plan.options,
        stock=stock,
        region=plan.region,
        seam=plan.seam,
        name=plan.name,
        lines={line.name: line.points for line in plan.lines},
        progress=progress,
    )


def _blank(plan: ToolPlan, source: Any, stock: Stock, progress: Progress) -> Tool:
    from dataclasses import replace

    from meshflow.tooling.blank import blank_tool

    return replace(blank_tool(source, plan.options, stock=stock), name=plan.name)


def _ruledie(plan: ToolPlan, source: Any, stock: Stock, progress: Progress) -> Tool:
    from dataclasses import replace

    from meshflow.tooling.ruledie import rule_die

    return replace(rule_die(source, plan.options, stock=stock), name=plan.name)


_MAKERS = {
    "punch": _punch,
    "strip": _strip,
    "former": _former,
    "cast": _cast,
    "blank": _blank,
    "ruledie": _ruledie,
}
