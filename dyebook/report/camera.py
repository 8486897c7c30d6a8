"""Learned cameras, the check coupon, repeatability, and what measuring an archive again has moved, in words."""

from itertools import pairwise

import numpy as np

from dyebook.report.photo import flag_lines
from dyebook.report.words import distance_text, lab_text, moment_day, moment_text, plain

__all__ = [
    "camera_line", "camera_text", "cameras_text", "coupon_rows", "coupon_words", "days_text", "flag_lines",
    "learned_words", "moved_text", "repeatability_text", "setup_line", "setups_text", "step_line",
]  # fmt: skip


def camera_text(profile, patches) -> str:
    """Return a camera profile as lines for the shell.

    `patches` (sequence of str): names of the 24 patches.
    """
    lines = [
        f"{profile.name}: colours read to ΔE00 {profile.mean:.1f} on average (each patch left out in turn)",
        f"  learned from {len(profile.used)} of 24 patches; furthest off: {_worst(profile, patches)}",
        f"  chart: {_TABLES.get(profile.table, profile.table)}",
        f"  camera: {_maker(profile)}; learned {moment_day(profile.learned_at)}",
    ]
    unused = [f"{patches[patch]} ({patch})" for patch in range(24) if patch not in profile.used]
    if unused:
        lines.insert(2, f"  not learned from: {', '.join(unused)}")
    if profile.repeat_sd is not None:
        lines.append("  repeats to " + ", ".join(f"{value:.2f}" for value in profile.repeat_sd) + " in L*, a*, b*")
    return "\n".join([*lines, *(f"  ! {line}" for line in flag_lines(profile.flags))])


def _worst(profile, patches):
    """The three patches furthest off among those learned from, with their numbers."""
    worst = sorted(profile.used, key=lambda patch: -profile.loo_delta_e00[patch])[:3]
    return ", ".join(f"{patches[patch]} ({patch}) {profile.loo_delta_e00[patch]:.1f}" for patch in worst)


def _maker(profile):
    """Make and model as people say them: many a model's name begins with its maker's."""
    make, model = profile.make or "", profile.model or ""
    return (model if model.lower().startswith(make.lower()) else f"{make} {model}") or "not named by its photo"


def cameras_text(profiles) -> str:
    """Return all cameras, one a line."""
    if not profiles:
        return "no camera learned yet; photograph a 24-patch chart and run: dyebook camera learn PHOTO --name NAME"
    width = max(len(profile.name) for profile in profiles)
    return "\n".join(
        f"{p.name:{width}}  ΔE00 {p.mean:.1f}  learned {moment_day(p.learned_at)}, camera {_maker(p)}" for p in profiles
    )


def learned_words(profile, patches) -> tuple[str, list[str]]:
    """Return what was learned, for a screen.

    The figure that matters comes first, then lines about it. `patches` (sequence of str): names of the 24 patches.
    """
    head = f"Colours it had not seen came out within {distance_text(profile.mean)}, on average"
    lines = [
        f"Each of {len(profile.used)} patches was left out in turn and read by what the others taught. Furthest off: "
        f"{_worst(profile, patches)}.",
        f"The chart's table that fits: {_TABLES.get(profile.table, profile.table)}.",
    ]
    return head, lines


_TABLES = {"before-2014": "made before November 2014", "after-2014": "made since November 2014"}


def camera_line(profile) -> str:
    """Return a learned camera as two lines of Markdown: its name and figure, its make and day."""
    repeats = "" if profile.repeat_sd is None else f", repeats to {max(profile.repeat_sd):.1f}"
    learned = moment_day(profile.learned_at)
    near = distance_text(profile.mean) + repeats
    return f"**{plain(profile.name)}** – {near}  \n{plain(_maker(profile))}, learned {learned}"


def setup_line(use) -> str:
    """Return a set-up of the book in a line."""
    count = f"{use.readings} reading{'' if use.readings == 1 else 's'}"
    return f"{use.name or 'not named yet'}: {count} since {moment_text(use.first_seen)}"


def step_line(step) -> str:
    """Return in a line what two set-ups read apart on the check coupon, and whether verdicts are free of it."""
    apart = f"{step.here} reads {lab_text(step.step, step.u, '+')} from {step.there} on the check coupon"
    return f"{apart}; {'taken off verdicts between them' if step.taken else 'not taken off'}"


def setups_text(found) -> str:
    """Return set-ups with the keys they were known by, and the steps between them, as lines for the shell."""
    lines = [line for use in found["setups"] for line in (setup_line(use), *(f"  known as {key}" for key in use.keys))]
    return "\n".join([*lines, *map(step_line, found["steps"])]) or "no photo was read in a set-up yet"


def coupon_words(coupon) -> tuple[str, list[str]]:
    """Return what the check coupon's days tell: a heading, and sentences of what to do."""
    count = f"{len(coupon.days)} day{'' if len(coupon.days) == 1 else 's'}"
    if coupon.missing:
        more = f"{coupon.missing} more day{'' if coupon.missing == 1 else 's'}"
        head = f"{more} until drift can be told from scatter"
        lines = [f"{count} so far. {_LAST.format(steps=_steps(coupon))}"]
    elif coupon.drift.cause == "none":
        head = f"Steady over {count}"
        lines = [_LAST.format(steps=_steps(coupon))]
    else:
        head, lines = _left(coupon)
    if coupon.put_right is not None:
        lines.append(f"Put right on {moment_text(coupon.put_right)}; the rule looks afresh from then.")
    if coupon.learned_anew is not None:
        lines.append(
            f"{coupon.camera} was learned anew on {moment_text(coupon.learned_anew)}: a step there is the new "
            "profile's. Count from that day once the camera is trusted."
        )
    if coupon.earlier:
        lines.append(f"{coupon.earlier} earlier day{'' if coupon.earlier == 1 else 's'} no longer count.")
    return head, lines


_LAST = "Against its kept colour the last reading is {steps}."


def _left(coupon):
    """Heading and advice for a coupon that has left its kept colour."""
    since = moment_text(coupon.since)
    moves = _joined([f"{amount:.1f} {word}" for amount, word in coupon.moves])
    if not moves:
        return f"It left its kept colour on {since}, and has come back since", [
            f"{_LAST.format(steps=_steps(coupon))} If something was put right, note the day."
        ]
    head = f"Since {since} readings are {moves}: a phone update, a new lamp or a soiled card?"
    lines = [_LAST.format(steps=_steps(coupon))]
    if [word for _, word in coupon.moves] == ["lighter"]:
        lines.append("Lighter and nothing else is how a soiled card reads: it is taken for cleaner than it is.")
    lines.append(
        "Clean the card or take a fresh one, look whether lamp, phone or its settings changed, and photograph the "
        f"coupon again. Until that is found, batches read since {since} are off by as much."
    )
    return head, lines


def _steps(coupon):
    last = coupon.differences.iloc[-1]
    return ", ".join(f"Δ{name[-1].upper()}* {_signed(last[name])}" for name in _STEPS)


_STEPS = ("delta_l", "delta_c", "delta_h")


def _signed(value):
    """A difference to one decimal, with a true minus; nought has no sign."""
    text = f"{value:+.1f}".replace("-", "−")
    return "0.0" if text[1:] == "0.0" else text


def _joined(words):
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1] if words else ""


def coupon_rows(coupon, count=5):
    """Return the last days of the check coupon, newest first, as rows of (day, ΔL*, ΔC*, ΔH*) in words."""
    last = coupon.differences.iloc[::-1].head(count)
    return [(moment_text(row.dyed_at), *(_signed(getattr(row, name)) for name in _STEPS)) for row in last.itertuples()]


def days_text(coupon) -> str:
    """Return what the check coupon's days tell as lines for the shell."""
    head, lines = coupon_words(coupon)
    mark = "! " if coupon.moves else ""
    reader = coupon.camera or "no learned camera"
    return "\n".join([f"Check coupon, read with {reader}", f"  {mark}{head}", *(f"  {line}" for line in lines)])


def repeatability_text(found, camera: str | None = None) -> str:
    """Return how well readings repeat as lines for the shell.

    `camera`: the learned camera that it is now kept with.
    """
    lines = [
        f"{found.count} readings, mean {lab_text(found.lab)}",
        "  one reading repeats to " + ", ".join(f"{value:.2f}" for value in found.sd) + " (sd of L*, a*, b*)",
        f"  mean difference from the mean: ΔE00 {found.mcdm_00:.2f} (ΔE*ab {found.mcdm:.2f})",
    ]
    if np.isfinite(found.grr_percent).all():
        share = ", ".join(f"{value:.0f} %" for value in found.grr_percent)
        lines.append(f"  share of the total spread (L*, a*, b*): {share}; under 10 % is good, over 30 % is not fit")
    if camera is not None:
        lines.append(f"  kept with {camera}: from now on it is in the ± of what {camera} reads")
    return "\n".join([*lines, *(f"  ! {line}" for line in flag_lines(found.flags))])


_WIDTH = 40


def moved_text(moved) -> str:
    """Return the lines for a `dyebook.jobs.remeasure.Moved` as its dict."""
    verb = "would move" if moved["dry_run"] else "measured again"
    lines = [f"{moved['photos']} of {moved['waiting']} photos looked at, {moved['readings']} readings {verb}"]
    if moved["readings"]:
        figures = moved["delta_e00"]
        lines.append(
            f"moved by ΔE00 {figures['median']:.2f} (half of them), {figures['p95']:.2f} (95 of 100), at most "
        )
        lines[-1] += f"{figures['max']:.2f}"
        lines += _bars(moved["histogram"])
        lines += [f"batch {one['batch']} moved by {one['delta_e00']:.2f}" for one in moved["worst"]]
    lines += [f"not measured again, old reading stands: {one['photo']}: {one['why']}" for one in moved["troubles"]]
    if moved["stopped"]:
        lines.append("stopped; what was measured is kept; run the same command to go on")
    return "\n".join(lines)


def _bars(histogram):
    edges, counts = histogram["edges"], histogram["counts"]
    names = [f"under {edges[0]:g}"]
    names += [f"{low:g} to {high:g}" for low, high in pairwise(edges)]
    names.append(f"{edges[-1]:g} or more")
    most = max(counts)
    return [
        f"  {name:>10}  {count:>7}  {'#' * round(_WIDTH * count / most)}"
        for name, count in zip(names, counts, strict=True)
    ]
