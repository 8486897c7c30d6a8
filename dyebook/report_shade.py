"""Advice on shades as lines for the shell."""

from dyebook.report import lab_text

__all__ = ["coupons_text", "redip_text", "settings_text", "suggestions_text"]


def settings_text(settings):
    """Return settings as people say them: "40 °C, 5:30 min, 3 g/L, film 12 µm, pH 5.5"."""
    minutes, seconds = divmod(round(settings["dwell_min"] * 60), 60)
    text = (
        f"{settings['bath_temp_c']:.0f} °C, {minutes}:{seconds:02d} min, {settings['dye_g_per_l']:.2g} g/L, "
        f"film {settings['film_um']:.1f} µm"
    )
    return text + (f", pH {settings['ph']:.1f}" if "ph" in settings else "")


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
        lines.append(f"   from daylight to lamp light it moves by ΔE00 {one.lamp_a:.1f}, to LED by {one.lamp_led:.1f}")
    return "\n".join(lines)


def redip_text(advice):
    """Return a `Redip` as lines for the shell."""
    words = {"more_time": "more time", "accept": "accept", "strip": "accept or strip", "ask": "say more"}
    lines = [f"{words[advice.action]}: {advice.why}"]
    if advice.action == "more_time":
        lines.append(f"expect {lab_text(advice.lab)}, ΔE00 {advice.delta_e00:.1f} (90 %: {advice.delta_e00_p90:.1f})")
    return "\n".join(lines + ([advice.caution] if advice.caution else []))


def coupons_text(coupons):
    """Return test dips as lines for the shell, a `Coupon` each."""
    return "\n".join(f"{i}. {settings_text(one.settings)}\n   {one.why}" for i, one in enumerate(coupons, start=1))
