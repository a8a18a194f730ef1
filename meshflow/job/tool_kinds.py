"""The kinds of tool a job may ask for, as data: where each comes from, and the options its maker takes."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any, Final

from meshflow.model.tool import ToolKind

__all__ = ["OPTIONS", "SOURCES", "ToolKind", "options_class"]

OPTIONS: Final[Mapping[ToolKind, tuple[str, str]]] = {
    "punch": ("meshflow.tooling.punch_options", "PunchOptions"),
    "strip": ("meshflow.tooling.strip_options", "StripOptions"),
    "former": ("meshflow.tooling.former_options", "FormerOptions"),
    "cast": ("meshflow.tooling.cast_options", "CastOptions"),
    "blank": ("meshflow.tooling.blank_options", "BlankOptions"),
    "ruledie": ("meshflow.tooling.ruledie_options", "RuleDieOptions"),
}
# What a tool is made from: a relief of the job, a part of it, or a piece of a scan.
SOURCES: Final[Mapping[ToolKind, str]] = {
    "punch": "relief",
    "strip": "relief",
    "former": "scan",
    "cast": "scan",
    "blank": "part",
    "ruledie": "part",
}


def options_class(kind: ToolKind) -> Any:
    """Return the dataclass of a kind's options."""
    module, name = OPTIONS[kind]
    return getattr(importlib.import_module(module), name)
