"""Charts on paper, in greys: the swatches beside them are the only colours."""

import io
from datetime import datetime, timedelta

__all__ = ["days_png", "strength_png", "trace_png"]

_MARKS = {"dip": ("o", "none"), "made_up": ("s", "0.1"), "topped_up": ("^", "0.1"), "measured": ("D", "0.1")}
_OTHER = ("x", "0.1")


def strength_png(points, width_mm=180, height_mm=52):
    """Draw a bath's strength over time.

    Parameters
    ----------
    points : sequence of StrengthPoint
    width_mm, height_mm : float

    Returns
    -------
    bytes
        PNG, 200 dots an inch.
    """
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    figure, axes = _paper(width_mm, height_mm)
    at = [_moment(point.at) for point in points]
    strength = [point.dye_g_per_l for point in points]
    doubt = [point.dye_g_per_l_sd for point in points]
    low = [max(value - sd, 0) for value, sd in zip(strength, doubt, strict=True)]
    high = [value + sd for value, sd in zip(strength, doubt, strict=True)]
    axes.fill_between(at, low, high, color="0.85", linewidth=0)
    axes.plot(at, strength, color="0.35", linewidth=1)
    for kind in dict.fromkeys(point.kind for point in points):
        marker, face = _MARKS.get(kind, _OTHER)
        mine = [place for place, point in enumerate(points) if point.kind == kind]
        label = "reckoned after a dip" if kind == "dip" else kind.replace("_", " ")
        style = {"color": "0.1", "markerfacecolor": face, "markersize": 5, "markeredgewidth": 0.8}
        axes.plot([at[i] for i in mine], [strength[i] for i in mine], marker, label=label, **style)
    axes.set_ylabel("g/L", fontsize=8)
    locator = AutoDateLocator(maxticks=8)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    axes.legend(fontsize=7, frameon=False, ncols=4, loc="lower left", bbox_to_anchor=(0, 1))
    return _png(figure)


def days_png(differences, since=None, width_mm=180, height_mm=60):
    """Draw the check coupon's daily differences from its first days.

    Parameters
    ----------
    differences : DataFrame
        delta_l, delta_c, delta_h and dyed_at, an ISO date a row.
    since : str, optional
        ISO date on which it left its kept colour; marked.
    width_mm, height_mm : float

    Returns
    -------
    bytes
        PNG, 200 dots an inch.
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


def trace_png(time_min, current_a, by_hand=False, width_mm=180, height_mm=34):
    """Draw the current of a run over time.

    Parameters
    ----------
    time_min, current_a : sequence of float
        Of the same length.
    by_hand : bool
        Noted now and then: the points are marked.
    width_mm, height_mm : float

    Returns
    -------
    bytes
        PNG, 200 dots an inch.
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
    moment = datetime.fromisoformat(iso)
    return moment.astimezone().replace(tzinfo=None) if moment.tzinfo else moment
