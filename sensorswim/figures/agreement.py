"""Ours against somebody's labels, difference by difference (Bland & Altman 1986)."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from sensorswim.figures import style
from sensorswim.metrics.compare import Comparison


def draw_agreement(comparison: Comparison) -> go.Figure:
    """Draw the differences: of values against the mean of both, of events against time.

    The solid line is the bias, the dashed ones are the limits that hold 95 of 100 differences.
    """
    both = comparison.agreement
    if both.n < 3:
        return style.blank(f"{both.n} labels found a counterpart; limits need three.")
    fig = style.new_figure(height=380)
    event = comparison.unit == "ms"
    scale = 1000.0 if event else 1.0
    across = comparison.label_time_s if event else 0.5 * (comparison.labelled + comparison.ours)
    fig.add_scatter(
        x=np.asarray(across).tolist(),
        y=(scale * (comparison.ours - comparison.labelled)).tolist(),
        mode="markers",
        marker={"symbol": "circle-open", "size": 9, "color": style.LEFT, "line": {"width": 2}},
        showlegend=False,
        hovertemplate=f"%{{x:.1f}}: %{{y:.1f}} {comparison.unit}<extra></extra>",
    )
    lines = (
        ("bias", both.bias, "solid"),
        ("limit", both.low, "dash"),
        ("limit", both.high, "dash"),
    )
    for word, value, dash in lines:
        fig.add_hline(y=value, line={"color": style.INK, "width": 2, "dash": dash})
        fig.add_annotation(
            text=f"{word} {style.number(value)}",
            x=1,
            xref="x domain",
            xanchor="right",
            y=value,
            yanchor="bottom",
            showarrow=False,
            bgcolor=style.PAPER,
            font={"size": 13},
        )
    fig.update_xaxes(
        title_text="session time in s" if event else f"mean of both, {comparison.unit}"
    )
    fig.update_yaxes(title_text=f"ours minus label, {comparison.unit}")
    fig.update_layout(margin={"t": 24})
    return style.with_alt(
        fig,
        f"{both.n} pairs: ours lies {style.number(both.bias)} {comparison.unit} from the label in "
        f"the mean; 95 of 100 differences lie between {style.number(both.low)} and "
        f"{style.number(both.high)}.",
    )
