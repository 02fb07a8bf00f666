"""A season in pictures: a figure over the visits, against speed, felt, and carried over."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sensorswim.figures import style
from sensorswim.metrics.change import Verdict, Visit
from sensorswim.metrics.felt import FELT_WORDS
from sensorswim.metrics.trend import Series, in_words

Band = tuple[float | None, float | None]
_DAY: Final = "%{x|%d %b %Y}"


def draw_trend(series: Series, band: Band = (None, None)) -> go.Figure:
    """Draw one figure over the visits.

    Each mark is a visit with the spread of its lengths (bar: one standard deviation). The grey
    field around the first visit holds changes too small to count; dotted lines are the band that
    is wanted.

    Parameters
    ----------
    series : Series
    band : tuple
        Lowest and highest wanted value; None where nothing is set.
    """
    fig = style.new_figure(height=400)
    days = [_date(visit) for visit in series.visits]
    change = series.since_first
    if change.verdict is not Verdict.TOO_FEW:
        first = series.visits[0].mean
        field = {"y0": first - change.detectable, "y1": first + change.detectable}
        fig.add_hrect(**field, fillcolor=style.PALE, line_width=0, layer="below")
        fig.add_scatter(**_key("change from the first visit too small to count", style.BAND))
    for edge, word in zip(band, ("lowest wanted", "highest wanted"), strict=True):
        if edge is not None:
            fig.add_hline(y=edge, line={"color": style.THIRD, "width": 2, "dash": "dot"})
            fig.add_annotation(
                text=word,
                x=0.01,
                xref="x domain",
                y=edge,
                yanchor="bottom",
                showarrow=False,
                font={"size": 13, "color": style.THIRD},
            )
    fig.add_scatter(
        x=days,
        y=[visit.mean for visit in series.visits],
        mode="lines+markers",
        line={"color": style.LEFT, "width": 1.5},
        marker={"color": style.LEFT, "size": 11},
        error_y={
            "type": "data",
            "array": [visit.sd for visit in series.visits],
            "color": style.LEFT,
            "thickness": 1.5,
        },
        name="mean of a visit, with the spread of its lengths",
        customdata=[visit.n for visit in series.visits],
        hovertemplate=f"{_DAY}: %{{y:.{series.figure.digits}f}} {series.figure.unit}, "
        "%{customdata} lengths<extra></extra>",
    )
    _axes(fig, series)
    fig.update_xaxes(type="date")
    return style.with_alt(fig, _alt(series))


def _axes(fig: go.Figure, series: Series) -> None:
    title = style.wrap(f"{series.figure.words} in {series.figure.unit}", width=34)
    fig.update_yaxes(title_text=title)
    fig.update_xaxes(showgrid=False, hoverformat="%d %b %Y")
    fig.update_layout(margin={"t": 84})


def _key(name: str, colour: str) -> dict[str, Any]:
    """Return an entry of the legend for a field."""
    marker = {"symbol": "square", "size": 14, "color": colour}
    return {"x": [None], "y": [None], "mode": "markers", "marker": marker, "name": name}


def _alt(series: Series) -> str:
    figure = series.figure
    first, last = series.visits[0], series.visits[-1]
    return (
        f"{figure.words[0].upper()}{figure.words[1:]} over {len(series.visits)} visits, from "
        f"{style.number(first.mean, figure.digits)} on {_date(first):%d %b %Y} to "
        f"{style.number(last.mean, figure.digits)} {figure.unit} on {_date(last):%d %b %Y}; "
        f"{in_words(series.since_first, figure)}."
    )


def _date(visit: Visit) -> pd.Timestamp:
    return pd.Timestamp(round(visit.day * 86_400), unit="s").floor("min")


def draw_against_speed(series: Series, speed: Series) -> go.Figure:
    """Draw a figure against the speed it was swum at, one mark a visit that has both."""
    fast = dict(zip(speed.sessions, speed.visits, strict=True))
    both = [
        (fast[key], visit)
        for key, visit in zip(series.sessions, series.visits, strict=True)
        if key in fast
    ]
    if len(both) < 2:
        return style.blank("fewer than two visits have both this figure and a speed.")
    fig = style.new_figure(height=400)
    groups = (
        ("first visit", both[:1], "square-open", style.RIGHT),
        ("visits between", both[1:-1], "circle-open", style.SOFT),
        ("last visit", both[-1:], "diamond", style.LEFT),
    )
    for name, own, symbol, colour in groups:
        if own:
            _add_pairs(fig, name, own, symbol, colour)
    _axes(fig, series)
    fig.update_xaxes(title_text="speed in m/s")
    first, last = both[0], both[-1]
    text = (
        f"{series.figure.words} against speed at {len(both)} visits: from "
        f"{style.number(first[1].mean, series.figure.digits)} {series.figure.unit} at "
        f"{style.number(first[0].mean, 2)} m/s to "
        f"{style.number(last[1].mean, series.figure.digits)} at "
        f"{style.number(last[0].mean, 2)} m/s."
    )
    return style.with_alt(fig, text[0].upper() + text[1:])


def _add_pairs(
    fig: go.Figure, name: str, own: list[tuple[Visit, Visit]], symbol: str, colour: str
) -> None:
    spread = {"type": "data", "color": colour, "thickness": 1.2}
    fig.add_scatter(
        x=[fast.mean for fast, _ in own],
        y=[visit.mean for _, visit in own],
        error_x=spread | {"array": [fast.sd for fast, _ in own]},
        error_y=spread | {"array": [visit.sd for _, visit in own]},
        mode="markers",
        marker={"symbol": symbol, "size": 13, "color": colour, "line": {"width": 2}},
        name=name,
        customdata=[f"{_date(visit):%d %b %Y}" for _, visit in own],
        hovertemplate="%{customdata}: %{x:.2f} m/s, %{y:.3g}<extra></extra>",
    )


def draw_sense(felt: pd.DataFrame) -> go.Figure:
    """Draw what was felt beside what was measured at each visit, one panel a quantity.

    Parameters
    ----------
    felt : DataFrame
        started_at, activity, name, felt, measured, as the archive's `felt_of` returns it.
    """
    known = felt.dropna(subset=["felt", "measured"])
    names = [n for n, own in known.groupby("name", sort=False) if len(set(own["started_at"])) > 1]
    if not names:
        return style.blank(
            "felt and measured need two visits; write felt_... into the blocks of session.toml."
        )
    titles = [FELT_WORDS.get(name, name.replace("_", " ")) for name in names]
    fig = make_subplots(
        rows=len(names),
        cols=1,
        shared_xaxes=True,
        vertical_spacing=min(0.12, 0.4 / len(names)),
        subplot_titles=titles,
    )
    style.dress(fig, height=120 + 210 * len(names))
    parts = []
    for panel, (name, title) in enumerate(zip(names, titles, strict=True), start=1):
        own = known[known["name"] == name].groupby("started_at", sort=True)
        means = own[["felt", "measured"]].mean()
        _add_sense(fig, means, panel)
        off = (means["felt"] - means["measured"]).abs()
        parts.append(f"{title}: off by {off.iloc[0]:.3g} at first and {off.iloc[-1]:.3g} at last")
    fig.update_xaxes(showgrid=False)
    style.below_legend(fig)
    return style.with_alt(fig, f"Felt against measured over the visits. {'; '.join(parts)}.")


def _add_sense(fig: go.Figure, means: pd.DataFrame, panel: int) -> None:
    when = pd.to_datetime(means.index, utc=True, format="ISO8601").tz_localize(None)
    looks = (
        ("measured", "circle", style.LEFT, "solid"),
        ("felt", "diamond-open", style.RIGHT, "dash"),
    )
    for column, symbol, colour, dash in looks:
        fig.add_scatter(
            x=when.to_pydatetime().tolist(),
            y=means[column].tolist(),
            mode="lines+markers",
            line={"color": colour, "width": 1.5, "dash": dash},
            marker={"symbol": symbol, "size": 12, "color": colour, "line": {"width": 2}},
            name=column,
            showlegend=panel == 1,
            hovertemplate=f"{_DAY}: {column} %{{y:.3g}}<extra></extra>",
            row=panel,
            col=1,
        )


def draw_carry_over(drill: Series, swim: Series) -> go.Figure:
    """Draw a figure in the drill lengths and in the swum lengths of the same block, by visit."""
    fig = style.new_figure(height=400)
    looks = (
        ("drill lengths", drill, "square-open", style.RIGHT, "dash"),
        ("swum lengths", swim, "circle", style.LEFT, "solid"),
    )
    for name, series, symbol, colour, dash in looks:
        fig.add_scatter(
            x=[_date(visit) for visit in series.visits],
            y=[visit.mean for visit in series.visits],
            error_y={"type": "data", "array": [v.sd for v in series.visits], "color": colour},
            mode="lines+markers",
            line={"color": colour, "width": 1.5, "dash": dash},
            marker={"symbol": symbol, "size": 12, "color": colour, "line": {"width": 2}},
            name=name,
            hovertemplate=f"{_DAY}: %{{y:.{series.figure.digits}f}}<extra>{name}</extra>",
        )
    _axes(fig, swim)
    apart = [abs(drill.visits[i].mean - swim.visits[i].mean) for i in (0, -1)]
    text = (
        f"{swim.figure.words} in drill and swum lengths of the same block: "
        f"{style.number(apart[0], swim.figure.digits)} {swim.figure.unit} apart at the first "
        f"visit, {style.number(apart[1], swim.figure.digits)} at the last."
    )
    return style.with_alt(fig, text[0].upper() + text[1:])
