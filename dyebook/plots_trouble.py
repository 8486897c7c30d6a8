"""Control charts of a bath on screen, in greys."""

from dyebook.plots_run import neutral_figure

__all__ = ["TREND_TITLES", "plot_coupon", "plot_trend"]

_INK, _GREY = "#1c1d1f", "#6a6d73"
TREND_TITLES = {
    "delta_l": "ΔL* to what was expected (up: lighter)",
    "delta_c": "ΔC* (up: stronger colour)",
    "delta_h": "ΔH* (hue)",
    "log_strength": "dye strength, % of what was noted",
}


def plot_trend(history, trend, filled=()):
    """Draw one quantity of a bath over time: readings with their doubt, limits, weighted mean, and where drift began.

    Parameters
    ----------
    history : DataFrame
        The column that `trend` names, ``dyed_at``, ``batch``, and its doubt (``_u``) where known.
    trend : Trend
    filled : sequence of str
        Days on which the bath was made up or topped up.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    import numpy as np

    figure = neutral_figure(260)
    table = history[np.isfinite(history[trend.name])]
    days, values = table["dyed_at"].to_list(), table[trend.name].to_numpy(float)
    shown = _as_shown(trend.name, values)
    u = table[f"{trend.name}_u"].to_numpy(float) if f"{trend.name}_u" in table else np.full(len(values), np.nan)
    ends = [_as_shown(trend.name, values + side * np.nan_to_num(u)) for side in (-1, 1)]
    bars = {"type": "data", "symmetric": False, "array": ends[1] - shown, "arrayminus": shown - ends[0],
            "color": "rgba(106,109,115,0.55)", "width": 0}  # fmt: skip
    names = [f"batch {number}" for number in table["batch"]] if "batch" in table else None
    chart = trend.charts["individuals"]
    for edge in (chart.lower[0], chart.upper[0]):
        figure.add_hline(y=_as_shown(trend.name, float(edge)), line={"color": _GREY, "width": 1, "dash": "dash"})
    figure.add_hline(y=_as_shown(trend.name, trend.centre), line={"color": _GREY, "width": 1})
    mean = _as_shown(trend.name, trend.charts["ewma"].points)
    figure.add_scatter(x=days, y=mean, mode="lines", line={"color": _GREY, "width": 2}, hoverinfo="skip")
    figure.add_scatter(x=days, y=shown, mode="markers", error_y=bars, text=names, marker={"color": _INK, "size": 8})
    if trend.since is not None:
        figure.add_vline(x=history["dyed_at"].iloc[trend.since], line={"color": _INK, "width": 1.5, "dash": "dot"})
    for day in filled:
        if days and days[0] <= day[:10] <= days[-1]:
            figure.add_vline(x=day[:10], line={"color": _GREY, "width": 3})
    figure.update_layout(showlegend=False, hovermode="closest", margin_t=34, title=_title(trend.name))
    figure.update_yaxes(rangemode="normal")
    return figure


_COUPON = (("delta_l", "ΔL*", "solid", "circle"), ("delta_c", "ΔC*", "dash", "square"),
           ("delta_h", "ΔH*", "dot", "triangle-up"))  # fmt: skip


def plot_coupon(differences, since=None, put_right=None):
    """Draw how the check coupon reads against its kept colour, a day a point, and the day it left it.

    Parameters
    ----------
    differences : DataFrame
        delta_l, delta_c, delta_h and ``dyed_at``, an ISO date a row.
    since, put_right : str, optional
        ISO dates: when it left its kept colour, and when lamp, card or phone were put right.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    figure = neutral_figure(300)
    days = differences["dyed_at"].to_list()
    figure.add_hline(y=0, line={"color": _GREY, "width": 1})
    for name, title, dash, symbol in _COUPON:
        line, marker = {"color": _INK, "dash": dash, "width": 1.5}, {"symbol": symbol, "size": 7}
        drawn = {"line": line, "marker": marker, "mode": "lines+markers", "hovertemplate": "%{y:+.1f}"}
        figure.add_scatter(x=days, y=differences[name], name=title, **drawn)
    for day, words, dash in ((since, "left", "dot"), (put_right, "put right", "solid")):
        if day is not None and days[0] <= day <= days[-1]:
            figure.add_vline(x=day, line={"color": _INK, "width": 2, "dash": dash})
            # below the marks on the left of its line, where later days do not cross it
            at = {"x": day, "y": 0, "yref": "paper", "yanchor": "bottom", "xanchor": "right"}
            figure.add_annotation(text=words, showarrow=False, bgcolor="#f2f2f2", **at)
    # room for quiet days: scatter of a tenth must not fill the picture
    reach = max(1.5, 1.15 * float(differences[[name for name, *_ in _COUPON]].abs().to_numpy().max()))
    figure.update_yaxes(range=[-reach, reach], title_text="against its kept colour")
    figure.update_xaxes(type="date", tickformat="%-d %b", hoverformat="%-d %b %Y", nticks=7)
    if len(days) < 7:
        figure.update_xaxes(dtick=86400000, tickvals=days)
    return figure


def _title(name):
    return {"text": TREND_TITLES[name], "font": {"size": 14}, "x": 0, "xanchor": "left", "y": 0.97}


def _as_shown(name, values):
    """Values as people read them: a logarithm of strength in percent."""
    import numpy as np

    return 100 * np.exp(values) if name == "log_strength" else values
