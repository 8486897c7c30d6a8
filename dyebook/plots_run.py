"""Charts of the bench on screen: a run's log with its charge, a bath's strength over time."""

__all__ = ["neutral_figure", "plot_strength", "plot_trace"]

_INK, _GREY, _PALE = "#1c1d1f", "#6a6d73", "#c2c2c2"
_FONT = {"family": "system-ui, sans-serif", "size": 14, "color": _INK}


def neutral_figure(height):
    """Return an empty chart in the greys of the screens, `height` pixels high."""
    import plotly.graph_objects as go

    figure = go.Figure()
    figure.update_layout(
        height=height,
        margin={"l": 10, "r": 10, "t": 30, "b": 10},
        # light paper by day and by night: marks and lines are drawn in dark ink
        paper_bgcolor="#f2f2f2",
        plot_bgcolor="#f2f2f2",
        font=_FONT,
        legend={"orientation": "h", "y": 1.02, "yanchor": "bottom", "x": 0, "font": _FONT},
        hovermode="x unified",
    )
    words = {"tickfont": _FONT, "title_font": _FONT}
    figure.update_xaxes(gridcolor="#dcdcdc", linecolor=_GREY, **words)
    figure.update_yaxes(gridcolor="#dcdcdc", linecolor=_GREY, rangemode="tozero", **words)
    return figure


def plot_trace(trace, events=(), gaps=()):
    """Draw current against time with the charge so far, and mark what happened.

    Parameters
    ----------
    trace : Trace
        `time_min`, `current_a`, both of shape (N,).
    events : sequence of Event
    gaps : sequence of dict
        ``start_min``, ``end_min``.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import numpy as np

    figure = neutral_figure(360)
    time, current = np.asarray(trace.time_min), np.asarray(trace.current_a)
    steps = np.diff(time) * (current[1:] + current[:-1]) / 2
    charge = np.concatenate([[0.0], np.cumsum(np.maximum(steps, 0.0))]) / 60
    figure.add_scatter(x=time, y=current, name="current, A", line={"color": _INK, "width": 2})
    figure.add_scatter(x=time, y=charge, name="charge, A·h", yaxis="y2", line={"color": _GREY, "dash": "dash"})
    figure.update_layout(
        xaxis={"title": "minutes"},
        yaxis={"title": "A"},
        yaxis2={
            "title": "A·h",
            "overlaying": "y",
            "side": "right",
            "showgrid": False,
            "rangemode": "tozero",
            "tickformat": ".2f",
        },
    )
    for gap in gaps:
        figure.add_vrect(x0=gap["start_min"], x1=gap["end_min"], fillcolor=_PALE, opacity=0.6, line_width=0)
    for number, event in enumerate(events, start=1):
        figure.add_vline(x=event.time_min, line={"color": _INK, "width": 1, "dash": "dot"})
        figure.add_annotation(
            x=event.time_min, y=1, yref="paper", text=str(number), showarrow=False, bgcolor=_INK, font={"color": "#fff"}
        )
    return figure


_POINT_NAMES = {"dip": "reckoned after a dip", "now": "reckoned for now", "ph_moved": "pH moved"}
_MARKS = {"now": "circle", "dip": "circle-open", "made_up": "square", "topped_up": "triangle-up", "measured": "diamond"}


def plot_strength(points, height=320, legend=True):
    """Draw a bath's strength over time: what was noted, and what is reckoned after each dip with its doubt.

    Parameters
    ----------
    points : sequence of StrengthPoint
    height : int
        In pixels.
    legend : bool

    Returns
    -------
    plotly.graph_objects.Figure
    """
    figure = neutral_figure(height)
    at = [point.at for point in points]
    strength = [point.dye_g_per_l for point in points]
    low = [max(point.dye_g_per_l - point.dye_g_per_l_sd, 0.0) for point in points]
    high = [point.dye_g_per_l + point.dye_g_per_l_sd for point in points]
    quiet = {"hoverinfo": "skip", "mode": "lines", "line": {"width": 0}, "showlegend": False}
    figure.add_scatter(x=at, y=low, **quiet)
    figure.add_scatter(x=at, y=high, fill="tonexty", fillcolor="rgba(106,109,115,0.22)", **quiet)
    figure.add_scatter(x=at, y=strength, mode="lines", name="g/L", line={"color": _GREY}, showlegend=False)
    for kind in dict.fromkeys(point.kind for point in points):
        mine = [point for point in points if point.kind == kind]
        name = _POINT_NAMES.get(kind, kind.replace("_", " "))
        marker = {"symbol": _MARKS.get(kind, "x"), "size": 10, "color": _INK}
        places = {"x": [point.at for point in mine], "y": [point.dye_g_per_l for point in mine]}
        figure.add_scatter(**places, mode="markers", name=name, marker=marker)
    # not from zero: a fading bath loses a tenth before anybody sees it
    figure.update_layout(yaxis={"title": "g/L", "range": [0.85 * min(low), 1.1 * max(high)]}, hovermode="closest")
    if not legend:
        figure.update_layout(showlegend=False, margin={"l": 10, "r": 10, "t": 6, "b": 6})
    return figure
