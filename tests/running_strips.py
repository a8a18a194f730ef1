"""Running ornaments of known shape for strip tools."""

from __future__ import annotations

import numpy as np

from meshflow.model.relief import Relief


def running_strip(period=12.3, *, repeats=3.4, high=0.8, width=8.0, pitch=0.1, noise=0.0, seed=3, start=0.0, lean=0.0):
    """Return a strip with a leaf and a bud in each repeat, ending on its ground at both edges."""
    x = np.arange(round(repeats * period / pitch) + 1) * pitch
    y = np.arange(round(width / pitch) + 1) * pitch - 0.5 * width
    xx, yy = np.meshgrid(x, y)
    height = ornament(xx + start, yy, period, high, width, lean)
    if noise:
        height = height + np.random.default_rng(seed).normal(0.0, noise, height.shape)
    return Relief("border", height, np.ones(height.shape, bool), pitch, (0.0, -0.5 * width), noise_mm=noise)


def ornament(x, y, period, high=0.8, width=8.0, lean=0.0):
    """Height of the ornament anywhere."""
    phase = 2 * np.pi * x / period
    leaf = np.exp(2.0 * (np.cos(phase - 0.3 * y) - 1.0)) * np.cos(np.pi * y / width) ** 2
    bud = 0.4 * np.exp(6.0 * (np.cos(phase - np.pi) - 1.0)) * np.cos(np.pi * y / width) ** 4
    return high * (leaf + bud) * (1.0 + lean * 2.0 * y / width)
