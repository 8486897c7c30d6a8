"""What was read from a photo in words: doubts, flaws, the whole measurement; and how to photograph shiny parts."""

from dyebook.flags import FLAGS
from dyebook.report.words import distance_text, lab_text

__all__ = [
    "PHOTO_TIPS", "PHOTO_TITLE", "STEPS", "flag_lines", "flaw_text", "gloss_text", "measurement_text", "step_lines",
]  # fmt: skip


def measurement_text(measurement) -> str:
    """Return a measurement as lines for the shell."""
    width, height = measurement.size
    lines = [f"{measurement.photo}  ({width} × {height})", f"card: {measurement.card_kind}"]
    lines += [f"  ! {line}" for line in flag_lines(measurement.flags)]
    for number, part in enumerate(measurement.parts, start=1):
        lines.append(f"part {number}: {lab_text(part.lab, part.lab_u)}")
        lines += [f"  {line}" for line in gloss_text(part)]
        lines += [f"  ! {line}" for line in flag_lines(part.flags)]
        lines += [f"  flaw: {flaw.kind.replace('_', ' ')}, ΔE00 {flaw.delta_e00:.1f}" for flaw in part.flaws]
    lines += [f"note: {warning}" for warning in measurement.warnings]
    lines += [f"better: {line}" for line in step_lines(measurement.next_step)]
    return "\n".join(lines)


STEPS = {
    "card": "lay a grey card beside the part",
    "closer": "lay card and part side by side",
    "darker": "take the photo again, darker",
    "soften": "hold white paper over the lamp, or go to a window without sun",
    "wide_file": "save the photo as RAW or in wide gamut",
    "learn": "learn this camera from a colour chart",
    "twin": "lay an undyed anodised piece of the same shape and finish beside the part, the same way round",
    "lay_twin": "lay the bare twin close to the part, the same way round",
    "tell_twin": "tell the bare twin's own L*, a*, b* by an instrument",
}


def step_lines(step) -> list[str]:
    """Return what would lower ± most as one line; none where there is no step, as in `Measurement.next_step`."""
    if step is None:
        return []
    now, then = (f"{step[name]:.0f}" if step["then"] >= 3 else f"{step[name]:.1f}" for name in ("now", "then"))
    return [f"{STEPS[step['step']]}: ± {now} becomes ± {then}"]


def flag_lines(names) -> list[str]:
    """Return one line per doubt: what was seen, and what to do."""
    return [f"{FLAGS[name].meaning}: {FLAGS[name].remedy}" for name in names]


def flaw_text(flaw) -> str:
    """Return a flaw in a few words, such as "pale zone, ΔE00 3.1, seen at a glance against the rest, 4 % …"."""
    share = f"{flaw.area_fraction:.0%}".replace("%", " %")
    return f"{flaw.kind.replace('_', ' ')}, {distance_text(flaw.delta_e00)} against the rest, {share} of the part"


def gloss_text(reading) -> list[str]:
    """Return what an instrument that includes the gloss would read, in a line, or none where it is not known."""
    return [] if reading.lab_sci is None else [f"with the gloss (specular included): {lab_text(reading.lab_sci)}"]


PHOTO_TITLE = "How to photograph shiny parts"
PHOTO_TIPS = (
    "Lay a plain matt grey card in the same plane and the same light as the part; 3 to 15 % of the picture is enough. "
    "Tell dyebook the card's own Lab if it is not an 18 % grey.",
    "Soft light: a light tent, or a large white surface beside the lamp. Turn shiny parts so that they mirror "
    "something plain.",
    "Expose so that nothing is blown out. If in doubt, darker.",
    "No crossed polarisers for colour: they take away the metal's reflection, and with it the colour.",
    "Sample and part in one photo are compared best: most of the camera's error cancels.",
    "Surest is a bare twin: an undyed anodised piece of the same shape and finish, close beside the part and the same "
    "way round. Light, finish and metal then cancel.",
    'Flash, filters, HDR and "scenes" off.',
)
