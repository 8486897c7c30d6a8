"""The uptake curve of a bath on screen, in greys: the swatches beside it are the only colours."""

from dyebook.plots_run import neutral_figure

__all__ = ["plot_uptake"]

_INK, _GREY = "#1c1d1f", "#6a6d73"


def plot_uptake(run, target_lightness):
    """Draw lightness against dwell, with the dips on record and the dwell asked about.

    Parameters
    ----------
    run : DepthRun
    target_lightness : float
        L* of the target.

    Returns
    -------
    plotly.graph_objects.Figure
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
