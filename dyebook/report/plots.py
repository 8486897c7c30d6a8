"""Charts on screen and on paper, in greys: the swatches beside them are the only colours.

What begins with `plot_` returns a Plotly figure, what ends with `_png` the bytes of a picture at 200 dots an inch.
"""

import io
from datetime import timedelta

from dyebook.report.baths import POINTS
from dyebook.report.words import COVERAGE
from dyebook.units import moment_of

__all__ = [
    "days_png", "plot_coupon", "plot_strength", "plot_trace", "plot_trend", "plot_uptake", "strength_png",
    "trace_png",
]  # fmt: skip

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
    words = {"tickfont": _FONT, "title_font": _FONT, "automargin": True}
    figure.update_xaxes(gridcolor="#dcdcdc", linecolor=_GREY, **words)
    figure.update_yaxes(gridcolor="#dcdcdc", linecolor=_GREY, rangemode="tozero", **words)
    return figure


def plot_trace(trace, events=(), gaps=()):
    """Draw current against time with the charge so far, and mark what happened.

    `trace` (Trace): `time_min`, `current_a`, both of shape (N,). `gaps` (sequence of dict): ``start_min``, ``end_min``.
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


_MARKS = {"now": "circle", "dip": "circle-open", "made_up": "square", "topped_up": "triangle-up", "measured": "diamond"}


def plot_strength(points, height: int = 320, legend: bool = True):
    """Draw a bath's strength over time: what was noted, and what is worked out after each dip with its doubt.

    `points`: sequence of StrengthPoint. `height`: in pixels.
    """
    figure = neutral_figure(height)
    at = [point.at for point in points]
    strength = [point.dye_g_per_l for point in points]
    low, high = _strength_band(points)
    quiet = {"hoverinfo": "skip", "mode": "lines", "line": {"width": 0}, "showlegend": False}
    figure.add_scatter(x=at, y=low, **quiet)
    figure.add_scatter(x=at, y=high, fill="tonexty", fillcolor="rgba(106,109,115,0.22)", **quiet)
    figure.add_scatter(x=at, y=strength, mode="lines", name="g/L", line={"color": _GREY}, showlegend=False)
    for kind in dict.fromkeys(point.kind for point in points):
        mine = [point for point in points if point.kind == kind]
        marker = {"symbol": _MARKS.get(kind, "x"), "size": 10, "color": _INK}
        places = {"x": [point.at for point in mine], "y": [point.dye_g_per_l for point in mine]}
        figure.add_scatter(**places, mode="markers", name=POINTS[kind], marker=marker)
    # not from zero: a fading bath loses a tenth before it can be seen
    figure.update_layout(yaxis={"title": "g/L", "range": [0.85 * min(low), 1.1 * max(high)]}, hovermode="closest")
    if not legend:
        figure.update_layout(showlegend=False, margin={"l": 10, "r": 10, "t": 6, "b": 6})
    return figure


def _strength_band(points):
    """Lower and upper ends of what a bath's strength may be."""
    low = [max(point.dye_g_per_l - COVERAGE * point.dye_g_per_l_sd, 0.0) for point in points]
    return low, [point.dye_g_per_l + COVERAGE * point.dye_g_per_l_sd for point in points]


def plot_uptake(run, target_lightness: float):
    """Draw lightness against dwell, with the dips on record and the dwell asked about.

    `target_lightness`: L* of the target.
    """
    figure = neutral_figure(340)
    quiet = {"hoverinfo": "skip", "mode": "lines", "line": {"width": 0}, "showlegend": False}
    figure.add_scatter(x=run.dwell_min, y=run.lightness_low, **quiet)
    band = {"fill": "tonexty", "fillcolor": "rgba(106,109,115,0.25)"}
    figure.add_scatter(x=run.dwell_min, y=run.lightness_high, **band, **quiet)
    figure.add_scatter(
        x=run.dwell_min, y=run.lab[:, 0], mode="lines", name="expected", line={"color": _INK, "width": 2}
    )
    for alike, name, symbol in ((True, "dips near these settings", "circle"), (False, "other dips", "circle-open")):
        mine = run.dip_alike == alike
        marker = {"symbol": symbol, "size": 9, "color": _INK if alike else _GREY}
        figure.add_scatter(
            x=run.dip_dwell_min[mine], y=run.dip_lightness[mine], mode="markers", name=name, marker=marker
        )
    figure.add_hline(y=target_lightness, line={"color": _INK, "width": 1, "dash": "dash"})
    figure.add_vline(x=run.settings["dwell_min"], line={"color": _INK, "width": 1, "dash": "dot"})
    figure.update_layout(hovermode="closest", showlegend=False, margin_t=10)
    ticks = [0.25, 0.5, 1, 2, 5, 10, 20, 30]
    figure.update_xaxes(
        type="log", title="minutes in the dye", tickvals=ticks, ticktext=[f"{tick:g}" for tick in ticks]
    )
    figure.update_yaxes(title="lightness L*", rangemode="normal")
    return figure


TREND_TITLES = {
    "delta_l": "lightness, against what was expected",
    "delta_c": "strength of colour",
    "delta_h": "hue",
    "log_strength": "dye strength, % of what was noted",
}


def plot_trend(history, trend, filled=()):
    """Draw one quantity of a bath over time: readings with their doubt, limits, weighted mean, and where drift began.

    `history` (DataFrame): the column that `trend` names, ``dyed_at``, ``batch``, and its doubt (``_u``) where known.
    `filled` (sequence of str): days on which the bath was made up or topped up.
    """
    import numpy as np

    figure = neutral_figure(260)
    table = history[np.isfinite(history[trend.name])]
    days, values = table["dyed_at"].to_list(), table[trend.name].to_numpy(float)
    shown = _as_shown(trend.name, values)
    u = table[f"{trend.name}_u"].to_numpy(float) if f"{trend.name}_u" in table else np.full(len(values), np.nan)
    ends = [_as_shown(trend.name, values + side * np.nan_to_num(u)) for side in (-COVERAGE, COVERAGE)]
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


def plot_coupon(differences, since: str | None = None, put_right: str | None = None):
    """Draw how the check coupon reads against its kept colour, a day a point, and the day it left it.

    `differences` (DataFrame): delta_l, delta_c, delta_h and ``dyed_at``, an ISO date a row. `since`, `put_right`: ISO
    dates: when it left its kept colour, and when lamp, card or phone were put right.
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
    return {"text": TREND_TITLES[name], "font": _FONT, "x": 0, "xanchor": "left", "y": 0.97}


def _as_shown(name, values):
    """Values as people read them: a logarithm of strength in percent."""
    import numpy as np

    return 100 * np.exp(values) if name == "log_strength" else values


_PAPER_MARKS = {"dip": ("o", "none"), "made_up": ("s", "0.1"), "topped_up": ("^", "0.1"), "measured": ("D", "0.1")}
_OTHER = ("x", "0.1")


def strength_png(points, width_mm: float = 180, height_mm: float = 52) -> bytes:
    """Draw a bath's strength over time."""
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    figure, axes = _paper(width_mm, height_mm)
    at = [_moment(point.at) for point in points]
    strength = [point.dye_g_per_l for point in points]
    axes.fill_between(at, *_strength_band(points), color="0.85", linewidth=0)
    axes.plot(at, strength, color="0.35", linewidth=1)
    for kind in dict.fromkeys(point.kind for point in points):
        marker, face = _PAPER_MARKS.get(kind, _OTHER)
        mine = [place for place, point in enumerate(points) if point.kind == kind]
        style = {"color": "0.1", "markerfacecolor": face, "markersize": 5, "markeredgewidth": 0.8}
        axes.plot([at[i] for i in mine], [strength[i] for i in mine], marker, label=POINTS[kind], **style)
    axes.set_ylabel("g/L", fontsize=8)
    locator = AutoDateLocator(maxticks=8)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    axes.legend(fontsize=7, frameon=False, ncols=4, loc="lower left", bbox_to_anchor=(0, 1))
    return _png(figure)


def days_png(differences, since: str | None = None, width_mm: float = 180, height_mm: float = 60) -> bytes:
    """Draw the check coupon's daily differences from its first days.

    `differences` (DataFrame): delta_l, delta_c, delta_h and dyed_at, an ISO date a row. `since`: ISO date on which it
    left its kept colour; marked.
    """
    from matplotlib.dates import DateFormatter
    from matplotlib.ticker import MaxNLocator

    figure, axes = _paper(width_mm, height_mm)
    at = [_moment(day) for day in differences["dyed_at"]]
    axes.axhline(0, color="0.6", linewidth=0.8)
    for name, marker, shade in (("delta_l", "o", "0.1"), ("delta_c", "s", "0.4"), ("delta_h", "^", "0.6")):
        label = f"Δ{name[-1].upper()}*"
        axes.plot(at, differences[name], marker=marker, color=shade, linewidth=1, markersize=4, label=label)
    if since is not None:
        axes.axvline(_moment(since), color="0.1", linewidth=1, linestyle=":", label="left its kept colour")
    axes.set_xlim(at[0] - timedelta(days=2), at[-1] + timedelta(days=2))
    axes.xaxis.set_major_locator(MaxNLocator(7, integer=True))  # whole days
    axes.xaxis.set_major_formatter(DateFormatter("%d %b"))
    axes.legend(fontsize=7, frameon=False, ncols=4, loc="lower left", bbox_to_anchor=(0, 1))
    return _png(figure)


def trace_png(time_min, current_a, by_hand: bool = False, width_mm: float = 180, height_mm: float = 34) -> bytes:
    """Draw the current of a run over time.

    `time_min`, `current_a` (sequence of float): of the same length. `by_hand`: noted now and then: the points are
    marked.
    """
    figure, axes = _paper(width_mm, height_mm)
    axes.plot(time_min, current_a, color="0.1", linewidth=1, marker="o" if by_hand else "", markersize=3)
    axes.set_xlabel("min", fontsize=8, labelpad=1)
    axes.set_ylabel("A", fontsize=8)
    axes.set_ylim(bottom=0)
    axes.margins(x=0.01)
    return _png(figure)


def _paper(width_mm, height_mm):
    """An empty chart in greys."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), dpi=200, layout="constrained")
    axes = figure.subplots()
    axes.tick_params(labelsize=8)
    axes.grid(color="0.9", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _png(figure):
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    stream = io.BytesIO()
    FigureCanvasAgg(figure).print_png(stream)
    return stream.getvalue()


def _moment(iso):
    """The shop's own time of an ISO text, without a zone."""
    return moment_of(iso).replace(tzinfo=None)
