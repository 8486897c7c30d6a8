"""What was learned about cameras, as text."""

import numpy as np

from dyebook.report import flag_lines, lab_text

__all__ = ["camera_text", "cameras_text", "repeatability_text"]


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
