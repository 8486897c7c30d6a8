"""What was learned about cameras, as text."""

import numpy as np

from dyebook.report import flag_lines, lab_text

__all__ = [
    "camera_line",
    "camera_text",
    "cameras_text",
    "days_text",
    "flag_lines",
    "learned_words",
    "repeatability_text",
]


def camera_text(profile):
    """Return a camera profile as lines for the shell.

    Parameters
    ----------
    profile : CameraProfile

    Returns
    -------
    str
    """
    worst = int(np.argmax(profile.loo_delta_e00))
    maker = " ".join(filter(None, (profile.make, profile.model))) or "not named by the photo"
    lines = [
        f"{profile.name}: colours read to ΔE00 {profile.mean:.1f} on average (each patch left out in turn)",
        f"  worst patch {worst}: {profile.loo_delta_e00[worst]:.1f}; learned from {len(profile.used)} of 24 patches, "
        f"table {profile.table}",
        f"  camera: {maker}; learned {profile.learned_at[:10]}",
    ]
    if profile.repeat_sd is not None:
        lines.append("  repeats to " + ", ".join(f"{value:.2f}" for value in profile.repeat_sd) + " in L*, a*, b*")
    return "\n".join([*lines, *(f"  ! {line}" for line in flag_lines(profile.flags))])


def cameras_text(profiles):
    """Return all cameras, one a line."""
    if not profiles:
        return "no camera learned yet; photograph a 24-patch chart and run: dyebook camera learn PHOTO --name NAME"
    return "\n".join(f"{p.name}  ΔE00 {p.mean:.1f}  {p.make or ''} {p.model or ''}".rstrip() for p in profiles)


def learned_words(profile, patches):
    """Return what was learned, for a screen.

    Parameters
    ----------
    profile : CameraProfile
    patches : sequence of str
        Names of the 24 patches.

    Returns
    -------
    (str, list of str)
        The figure that matters, and lines about it.
    """
    worst = sorted(profile.used, key=lambda patch: -profile.loo_delta_e00[patch])[:3]
    names = ", ".join(f"{patches[patch]} {profile.loo_delta_e00[patch]:.1f}" for patch in worst)
    head = f"Colours it had not seen came out within ΔE00 {profile.mean:.1f} on average"
    lines = [
        f"Each of {len(profile.used)} patches was left out in turn and read by what the others taught. Furthest off: "
        f"{names}.",
        f"The chart's table that fits: {_TABLES.get(profile.table, profile.table)}.",
    ]
    return head, lines


_TABLES = {"before-2014": "made before November 2014", "after-2014": "made since November 2014"}


def camera_line(profile):
    """Return a learned camera as two lines of Markdown: its name and figure, its make and day."""
    maker = " ".join(filter(None, (profile.make, profile.model))) or "not named by its photos"
    repeats = "" if profile.repeat_sd is None else f", repeats to {max(profile.repeat_sd):.1f}"
    return f"**{profile.name}** – ΔE00 {profile.mean:.1f}{repeats}  \n{maker}, learned {profile.learned_at[:10]}"


def days_text(told):
    """Return what the check coupon's days tell as lines for the shell.

    Parameters
    ----------
    told : dyebook.jobs.check_coupon.CouponDays

    Returns
    -------
    str
    """
    last = told.differences.iloc[-1]
    steps = ", ".join(f"Δ{name[-1].upper()} {last[name]:+.1f}" for name in ("delta_l", "delta_c", "delta_h"))
    lines = [
        f"{told.camera}: {len(told.days)} days of the check coupon, the last {told.days[-1][0]}",
        f"  against the mean of the first days: {steps}",
    ]
    if told.missing:
        lines.append(f"  {told.missing} more days until drift can be told from scatter")
    elif told.drift.cause == "none":
        lines.append("  steady")
    else:
        lines.append(
            f"  ! it drifts since {told.drift.since}: look at lamp and camera, clean or renew the card, and learn the "
            "camera anew before you trust its readings"
        )
    return "\n".join(lines)


def repeatability_text(told):
    """Return how well readings repeat as lines for the shell.

    Parameters
    ----------
    told : Repeatability

    Returns
    -------
    str
    """
    lines = [
        f"{told.count} readings, mean {lab_text(told.lab)}",
        "  one reading repeats to " + ", ".join(f"{value:.2f}" for value in told.sd) + " (sd of L*, a*, b*)",
        f"  mean difference from the mean: ΔE00 {told.mcdm_00:.2f} (ΔE*ab {told.mcdm:.2f})",
    ]
    if np.isfinite(told.grr_percent).all():
        share = ", ".join(f"{value:.0f} %" for value in told.grr_percent)
        lines.append(f"  share of the total spread: {share}; under 10 % is good, over 30 % is not fit")
    return "\n".join([*lines, *(f"  ! {line}" for line in flag_lines(told.flags))])
