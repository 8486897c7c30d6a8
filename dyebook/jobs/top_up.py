"""What brings a dye bath back: from a measured strength, or from all that went through it since it was last noted."""

import math
from dataclasses import replace

from dyebook.errors import RecordError
from dyebook.jobs.strength_line import MADE, NOTED_SD
from dyebook.physics.bathcare import estimate_strength, top_up_bath

__all__ = ["plan_top_up", "top_up_of"]


def plan_top_up(line, target_g_per_l, full_volume_l, *, dyed_dm2=None, evaporated_l=0.0, present_l=None):
    """Plan a top-up from the newest strength noted and what has happened since.

    Parameters
    ----------
    line : StrengthLine
        Without a noted strength the bath is taken to have stood at its target.
    target_g_per_l, full_volume_l : float
    dyed_dm2 : float, optional
        Since then, where it is not what the book has.
    evaporated_l : float
        Since then, besides what the line knows.
    present_l : float, optional
        Volume now, where it was looked at.

    Returns
    -------
    dyebook.physics.bathcare.TopUp
    """
    start = line.noted_g_per_l or target_g_per_l
    dyed = line.dyed_dm2 if dyed_dm2 is None else dyed_dm2
    more = dyed - line.dyed_dm2
    each, each_sd = line.uptake_mg_per_dm2, line.uptake_mg_per_dm2_sd
    use = {"dyed_dm2": dyed, "film_um": line.film_um, "evaporated_l": evaporated_l}
    if each is not None:
        use |= {"uptake_mg_per_dm2": 0.0, "lost_g": line.lost_g + each * more / 1000}
        use["lost_g_sd"] = line.lost_g_sd + each_sd * abs(more) / 1000
    if present_l is None and line.present_volume_l is not None:
        present_l = line.present_volume_l - evaporated_l
    use["present_volume_l"] = present_l
    strength, sd, present = estimate_strength(start, full_volume_l, **use)
    sd = math.hypot(sd, NOTED_SD * start)
    plan = top_up_bath(target_g_per_l, full_volume_l, measured_g_per_l=strength, present_volume_l=present)
    uptake = line.basis or "rule of thumb, 0.2 mg/dm² per µm of film"
    basis = f"{start:g} g/L when last noted, less what area dyed, drag-out and time took; dye taken up: {uptake}"
    return replace(plan, strength_g_per_l_sd=sd, dye_g_sd=sd * present, basis=basis)


def top_up_of(line, full_volume_l, *, target_g_per_l=None, measured_g_per_l=None, present_l=None, **since):
    """Return the strength wanted of a bath, and the `TopUp` to it from a measured or the reckoned strength.

    Parameters
    ----------
    line : StrengthLine
    full_volume_l : float or None
    target_g_per_l : float, optional
        As it was last made up or topped up without it.
    measured_g_per_l, present_l : float, optional
    **since
        `dyed_dm2`, `evaporated_l` of `plan_top_up`.
    """
    made = [point.dye_g_per_l for point in line.points if point.kind in MADE]
    target = target_g_per_l or (made[-1] if made else None)
    if target is None or full_volume_l is None:
        raise RecordError("wanted strength and volume are needed: note how the bath was made up, or give them")
    if measured_g_per_l is not None:
        known = {"measured_g_per_l": measured_g_per_l, "present_volume_l": present_l}
        return target, top_up_bath(target, full_volume_l, **known)
    return target, plan_top_up(line, target, full_volume_l, present_l=present_l, **since)
