"""A small bar that shows where a value is within its limits, uncertainty included: inline SVG by hand."""

from __future__ import annotations

import math

from strokebench.data.findings import Finding

WIDTH, HEIGHT = 110, 16
LEFT, RIGHT = 4, 106


def gauge(finding: Finding, k: float) -> str:
    """Return an SVG of the limits (bar), the value (dot) and k u either side (whisker); empty without
    limits."""
    scale = _scale(finding)
    if scale is None:
        return ""
    low, high = scale

    def x(value: float) -> float:
        share = (value - low) / (high - low)
        return round(LEFT + (RIGHT - LEFT) * min(max(share, 0.0), 1.0), 1)

    start = LEFT if finding.lower is None else x(finding.lower)
    end = RIGHT if finding.upper is None else x(finding.upper)
    reach = k * finding.u if math.isfinite(finding.u) else 0.0
    at = x(finding.value)
    size = f'viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
    whisker = f'x1="{x(finding.value - reach)}" y1="8" x2="{x(finding.value + reach)}" y2="8"'
    return (
        f'<svg class="gauge" {size} aria-hidden="true">'
        f'<line x1="{LEFT}" y1="8" x2="{RIGHT}" y2="8" class="g-axis"/>'
        f'<rect x="{start}" y="5" width="{max(end - start, 0):.1f}" height="6" class="g-zone"/>'
        f'<line {whisker} class="g-u"/>'
        f'<circle cx="{at}" cy="8" r="3.4" class="g-{finding.verdict.value}"/></svg>'
    )


def _scale(finding: Finding) -> tuple[float, float] | None:
    """Ends of the axis: the limits with a third of their width around them, or 0 to 1.5 times the one
    limit."""
    lower, upper = finding.lower, finding.upper
    if not finding.known or (lower is None and upper is None):
        return None
    if lower is not None and upper is not None:
        room = (upper - lower) / 3
        return lower - room, upper + room
    limit = upper if upper is not None else lower
    assert limit is not None  # one of the two is there
    if limit == 0:
        return None
    far = 1.5 * limit if upper is not None else 2.0 * limit
    return (0.0, far) if limit > 0 else (far, 0.0)
