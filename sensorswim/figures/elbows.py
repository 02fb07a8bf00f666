"""The elbow angle at mid-pull against the wanted band, left and right on one scale."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style

STANDINGS: Final = ("straighter than the band", "within the band", "more bent than the band",
                    "undecided")  # fmt: skip
_SOURCES: Final = {
    "upper_arm": "from the upper-arm and wrist sensors",
    "wrist_model": "an estimate from the wrist",
    "video": "measured in a picture",
}


def standing(angle_deg: float, sd_deg: float, low_deg: float, high_deg: float) -> str:
    """Return where an angle stands to the band, one of `STANDINGS`.

    Undecided where the band's edge lies within two standard deviations, or these aren't known.
    """
    reach = np.inf if np.isnan(sd_deg) else 2.0 * sd_deg
    if angle_deg - reach > high_deg:
        return STANDINGS[0]
    if angle_deg + reach < low_deg:
        return STANDINGS[2]
    inside = low_deg <= angle_deg - reach and angle_deg + reach <= high_deg
    return STANDINGS[1] if inside else STANDINGS[3]


def draw_elbows(arm_strokes: pd.DataFrame, lengths: pd.DataFrame, low_deg: float, high_deg: float
                ) -> go.Figure:  # fmt: skip
    """Draw every stroke's elbow angle and each length's, against the band of the settings.

    Parameters
    ----------
    arm_strokes, lengths : DataFrame
        Result tables.
    low_deg, high_deg : float
        The wanted band.
    """
    known = arm_strokes.dropna(subset=["elbow_angle_deg"])
    if known.empty:
        return style.blank("no elbow angle was worked out (it needs a wrist sensor and crawl).")
    sides = [s for s in ("left", "right") if len(style.side_of(known, s))]
    fig = make_subplots(
        rows=len(sides), cols=1, shared_xaxes=True, shared_yaxes="all", vertical_spacing=0.12,
        subplot_titles=[f"{side.capitalize()} arm" for side in sides],
    )  # fmt: skip
    style.dress(fig, height=180 + 230 * len(sides))
    for panel, side in enumerate(sides, start=1):
        _add_strokes(fig, style.side_of(known, side), side, (low_deg, high_deg), panel)
        _add_lengths(fig, lengths, side, panel)
        fig.add_hrect(
            y0=low_deg, y1=high_deg, fillcolor=style.BAND, opacity=0.5, line_width=0,
            layer="below", row=panel, col=1,
        )  # fmt: skip
        fig.update_yaxes(title_text="elbow, degrees", row=panel, col=1)
    fig.update_xaxes(title_text="length", row=len(sides), col=1)
    style.number_lengths(fig, lengths["length_no"])
    fig.update_yaxes(range=_span(known, lengths, sides, low_deg, high_deg))
    style.below_legend(fig)
    return style.with_alt(fig, _sentence(known, lengths, sides, low_deg, high_deg))


def _span(
    known: pd.DataFrame, lengths: pd.DataFrame, sides: list[str], low_deg: float, high_deg: float
) -> list[float]:
    """Return the range of the axis: every stroke, each length's bar and the band, with air."""
    ends = [low_deg, high_deg, *known["elbow_angle_deg"].astype(float)]
    for side in sides:
        reach = 2.0 * lengths[f"elbow_sd_{side}_deg"].fillna(0.0)
        for bar in (-reach, reach):
            ends += (lengths[f"elbow_angle_{side}_deg"] + bar).dropna().tolist()
    return [min(ends) - 5.0, max(ends) + 5.0]


def _add_strokes(
    fig: go.Figure, own: pd.DataFrame, side: str, band: tuple[float, float], panel: int
) -> None:
    place = _places(own)
    words = [
        standing(angle, sd, *band)
        for angle, sd in zip(
            own["elbow_angle_deg"].astype(float), own["elbow_sd_deg"].astype(float), strict=True
        )
    ]
    open_ = np.array([word == STANDINGS[3] for word in words])
    for chosen, name, symbol in (
        (~open_, "stroke, decided", style.SIDE_MARKER[side]),
        (open_, "stroke, undecided", f"{style.SIDE_MARKER[side]}-open"),
    ):
        rows = own.loc[chosen]
        if not len(rows):
            continue
        told = [w for w, c in zip(words, chosen, strict=True) if c]
        source = [_SOURCES.get(str(s), "") for s in rows["elbow_source"]]
        fig.add_scatter(
            x=place[chosen].tolist(),
            y=rows["elbow_angle_deg"].tolist(),
            mode="markers",
            marker={"symbol": symbol, "size": 8, "color": style.SIDE_COLOUR[side]},
            customdata=np.stack([told, source], axis=1).tolist(),
            name=f"{side} {name}",
            hovertemplate="%{y:.0f} degrees, %{customdata[0]}; %{customdata[1]}<extra></extra>",
            row=panel,
            col=1,
        )


def _places(own: pd.DataFrame) -> np.ndarray:
    """Return where each stroke is drawn: spread over its length's share of the axis."""
    order = own.groupby("length_no").cumcount().to_numpy(dtype=float)
    count = own.groupby("length_no")["side"].transform("size").to_numpy(dtype=float)
    number: np.ndarray = own["length_no"].to_numpy(dtype=float)
    return number - 0.32 + 0.64 * (order + 0.5) / count


def _add_lengths(fig: go.Figure, lengths: pd.DataFrame, side: str, panel: int) -> None:
    """Add each length's median, with twice the uncertainty of that angle to either side."""
    own = lengths.dropna(subset=[f"elbow_angle_{side}_deg"])
    if not len(own):
        return
    reach = 2.0 * own[f"elbow_sd_{side}_deg"].fillna(0.0)
    fig.add_scatter(
        x=own["length_no"].tolist(),
        y=own[f"elbow_angle_{side}_deg"].tolist(),
        error_y={
            "type": "data", "array": reach.tolist(), "color": style.INK, "thickness": 1.5,
            "width": 5,
        },
        mode="markers",
        marker={"symbol": "line-ew", "size": 22, "line": {"width": 3, "color": style.INK}},
        name="median ± twice its uncertainty",
        showlegend=panel == 1,
        hovertemplate="length %{x}: %{y:.0f} degrees<extra></extra>",
        row=panel,
        col=1,
    )  # fmt: skip


def _sentence(
    known: pd.DataFrame, lengths: pd.DataFrame, sides: list[str], low_deg: float, high_deg: float
) -> str:
    parts = []
    for side in sides:
        own = style.side_of(known, side)
        sd = float(lengths[f"elbow_sd_{side}_deg"].astype(float).median())
        angle = float(own["elbow_angle_deg"].astype(float).median())
        parts.append(
            f"{side} elbow {angle:.0f} degrees at mid-pull, "
            f"{standing(angle, sd, low_deg, high_deg)}"
        )
    told = "; ".join(parts)
    band = f"The band is {low_deg:g} to {high_deg:g} degrees, from the settings."
    return f"{told[0].upper()}{told[1:]}. {band}"
