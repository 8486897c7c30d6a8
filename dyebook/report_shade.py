"""Advice on shades as lines for the shell."""

from dyebook.report import lab_text

__all__ = ["settings_text", "suggestions_text"]


def settings_text(settings):
    """Return settings as people say them: "40 °C, 5:30 min, 3 g/L, film 12 µm, pH 5.5"."""
    minutes, seconds = divmod(round(settings["dwell_min"] * 60), 60)
    return (
        f"{settings['bath_temp_c']:.0f} °C, {minutes}:{seconds:02d} min, {settings['dye_g_per_l']:.2g} g/L, "
        f"film {settings['film_um']:.1f} µm, pH {settings['ph']:.1f}"
    )


def suggestions_text(suggestions):
    """Return suggestions, best first, as lines for the shell.

    Parameters
    ----------
    suggestions : list of Suggestion

    Returns
    -------
    str
    """
    lines = []
    for number, one in enumerate(suggestions, start=1):
        lines.append(f"{number}. {settings_text(one.settings)}")
        lines.append(f"   expect {lab_text(one.lab)}, ΔE00 {one.delta_e00:.1f} (90 %: {one.delta_e00_p90:.1f})")
        lines.append(f"   {one.why}")
    return "\n".join(lines)
