"""The squad: who needs a look, and why."""

from __future__ import annotations

from urllib.parse import urlencode

from dash import dcc, html

from sensorswim.archive import Store, Who
from sensorswim.archive.squad import Look, squad_view
from sensorswim.units import counted


def content(store: Store, who: Who) -> html.Div:
    """Return the page."""
    looks = squad_view(store, who)
    if not looks:
        return html.Div([html.H1("Squad"), nobody()])
    asking = sum(bool(look.reasons) for look in looks)
    return html.Div(
        [
            html.H1("Squad"),
            html.P(
                f"{asking} of {len(looks)} swimmers have something to look at. They come first, "
                "each group by name; there is no order of merit.",
                className="reading",
            ),
            html.Ul([_line(look) for look in looks], className="looks"),
        ]
    )


def nobody() -> html.P:
    """Return what stands where no swimmer may be seen."""
    return html.P(
        "No sessions are here yet. Put some in with: sensorswim archive add SESSION, or invent a "
        "season with: sensorswim rehearse OUT --season 6",
        className="nothing",
    )


def _line(look: Look) -> html.Li:
    swimmer = look.swimmer
    to = f"/?{urlencode({'swimmer': swimmer.pseudonym})}"
    reasons = look.reasons or ("nothing that stands out",)
    count = counted(look.sessions, "session")
    return html.Li(
        [
            html.H2(dcc.Link(swimmer.name or swimmer.pseudonym, href=to)),
            html.P(f"{count}, the last on {look.last[:10]}", className="reading"),
            html.Ul([html.Li(reason) for reason in reasons]),
        ]
    )
