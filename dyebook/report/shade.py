"""Advice on shades in words, for the shell and the screens.

`SENTENCES` words every `Note` of suggestions, coupons, mixes and redips.
"""

from dyebook.lab import delta_e_00
from dyebook.record import FIELDS
from dyebook.report.words import capital, distance_text, dwell_text, lab_text, seen_text, sentence_text
from dyebook.report.words import miss_text as words_of_miss

__all__ = [
    "AWAY", "MAY_REACH", "NEAR", "NO_NEARER", "REACHES", "SENTENCES", "STRIP_HINT", "answer_text", "baths_text",
    "coupons_text", "depth_text", "footing_text", "forgiving_text", "lamp_text", "left_out_text", "likely_text",
    "miss_text", "mix_lines", "mixes_text", "outlook_text", "reach_word", "redip_lines", "redip_text",
    "second_way_text", "sentence_text", "setting_fields", "setting_rows", "settings_text", "stands_text", "strip_text",
    "suggestions_text", "worth_trying",
]  # fmt: skip

# CIEDE2000 by which 10 s or 1 °C moves a shade, from which it is seen; common practice, no source
_EXACT = 1.0

STRIP_HINT = (
    "A strip drawn out of the dye in steps tells more than one dip, in a single photo. Its bands are kept as dips that "
    "share one film and one bath."
)
NO_NEARER = "Two dyes of these baths come no nearer either."

_STUCK = {
    "sealed": "a sealed film takes no more dye",
    "too_dark": "no further dyeing lightens a shade; taking dye out of a film is specialist work",
    "hue": "more time in this bath does not turn the hue",
}
_MIXED = {"together": "both dyes in one bath", "after": "one bath after the other, rinsed between, never dried"}


def _suggestion(delta_e00, delta_e00_p90, reachable, miss, per_10_s, per_degree, footing, unshared, thin_black):
    near = f"expected within ΔE00 {delta_e00:.1f} of the target, nine times in ten within {delta_e00_p90:.1f}"
    far = f"this bath cannot reach the target: its nearest shade is {words_of_miss(delta_e00, miss)}"
    moves = _moves(per_10_s, per_degree)
    wider = "; the target was not read in the set-up of the dips, so what camera and shape do to colours is counted"
    thin = "; under 12 µm of film this is not a true black"
    return f"{near if reachable else far}; {moves}; {footing}{wider if unshared else ''}{thin if thin_black else ''}"


def _moves(per_10_s, per_degree):
    return (
        f"10 s more in the dye: {seen_text(per_10_s)} (ΔE00 {per_10_s:.1f}); 1 °C warmer: {seen_text(per_degree)} "
        f"({per_degree:.1f})"
    )


def _mix(kind, delta_e00, reachable, miss):
    far = words_of_miss(delta_e00, miss)
    return (
        f"{_MIXED[kind]}: {'should come near' if reachable else 'still away'}: {far}; predicted from "
        "the single dyes, which may compete for the same places in the film: dip a coupon first"
    )


# why a dip, a coupon, a mix or a redip is advised, and what to mind: the `Note`s of `dyebook.advice`
SENTENCES = {
    "suggestion": _suggestion,
    "outside": lambda names: f"{' and '.join(FIELDS[name].label for name in names)} outside what has been dipped",
    "close": "close to a dip on record",
    "between": "between dips on record",
    "other_surface": (
        "The sample is {kind}: it scatters light otherwise than dyed metal and has another spectrum, so equal numbers "
        "under daylight may differ to the eye and under lamps. Compare a dyed coupon with it in both lights."
    ),
    "mix": _mix,
    "mix_trust": (
        "nine times in ten within ΔE00 {together_p90:.1f} of the colour expected; the single baths alone would leave "
        "{alone_p90:.1f}, how the two dyes get along has not been tried: a coupon of both settles it"
    ),
    "coupon": "reading it would bring the doubt about the target's dip from {before:.1f} to {after:.1f} (CIELAB)",
    "first_short": "a short dip: the pale end, where the dye shows its hue",
    "first_long": (
        "a long dip: how deep it goes; one strip drawn out in steps gives these two and more in a single photo"
    ),
    "first_warmer": "the long dip warmer: how much warmth matters",
    "first_weaker": "the long dip at half the strength: how much strength matters",
    "part_off": lambda delta_e00, difference: f"the part against the target: {words_of_miss(delta_e00, difference)}",
    "accept": "{off}: within {tolerance:g}",
    "look_first": "{off}; these readings cannot tell whether that is too much: look again first; {decides}",
    "strip": lambda off, reason: f"{off}; {_STUCK[reason]}: accept it, or strip and start again",
    "ask": "{off}; first say whether it has been dry since the dye, and whether it is sealed",
    "ask_before_next": (
        "{bath} next may help; first say whether the part has been dry since the dye, and whether it is sealed"
    ),
    "more_time": lambda off, minutes, delta_e00: (
        f"{off}; {dwell_text(minutes)} more in the same bath should leave {distance_text(delta_e00)}"
    ),
    "next_bath": (
        "{off}; more time in its own bath does not get there, {bath} next should leave ΔE00 {delta_e00:.1f}; "
        "predicted from the single baths"
    ),
    "more_time_care": "Keep the part wet, rinse it before the dip, and look before the time is up.",
    "dried_care": (
        "It has been dry: a film that dried clean still takes dye, one that stood in water or was handled takes less. "
        "Wet it through in cold water, dip one minute and look; if nothing changes, accept it, or strip."
    ),
    "next_bath_care": (
        "Keep the part wet, rinse it well between the baths, and try a coupon first: how two dyes get along is not "
        "known."
    ),
    "strip_care": (
        "Stripping takes the film off with caustic or acid and gives off hydrogen: follow the safety data sheet, keep "
        "flames away, ventilate, and mind that the part loses metal and fit. A licensed carrier takes the spent liquid."
    ),
}


def settings_text(settings) -> str:
    """Return settings as people say them: "40 °C, 5:30 min, 3 g/L, film 12 µm, pH 5.5"."""
    text = (
        f"{settings['bath_temp_c']:.0f} °C, {dwell_text(settings['dwell_min'])}, {settings['dye_g_per_l']:.2g} g/L, "
        f"film {settings['film_um']:.1f} µm"
    )
    return text + (f", pH {settings['ph']:.1f}" if "ph" in settings else "")


def suggestions_text(suggestions) -> str:
    """Return suggestions, best first, as lines for the shell."""
    lines = []
    for number, one in enumerate(suggestions, start=1):
        lines.append(f"{number}. {settings_text(one.settings)}")
        lines.append(f"   expect {lab_text(one.lab)}, ΔE00 {one.delta_e00:.1f} (90 %: {one.delta_e00_p90:.1f})")
        lines.append(f"   {one.why}")
        lines.append(f"   {_under_lamps(one)}")
    return "\n".join(lines)


_ACTIONS = {
    "more_time": "More time",
    "next_bath": "Another bath next",
    "accept": "Accept",
    "strip": "More dye does not help: accept it, or strip",
    "ask": "Say more about the part first",
}

_DIPS = ("more_time", "next_bath")


def _action(advice):
    sealed = advice.action == "strip" and advice.why.values.get("reason") == "sealed"
    return "Sealed: no more dye" if sealed else _ACTIONS[advice.action]


def redip_lines(advice):
    """Return a `Redip` as sentences, what to do first; its caution apart."""
    lines = [f"{_action(advice)}.", sentence_text(advice.why)]
    if advice.action == "next_bath":
        lines[0] = f"{advice.bath} next: {settings_text(advice.settings)}."
    if advice.action == "more_time":
        lines[0] = f"{dwell_text(advice.extra_dwell_min)} more in the same bath."
    if advice.action in _DIPS:
        lines.append(
            f"Expect {lab_text(advice.lab)}, {distance_text(advice.delta_e00)}; nine times in ten "
            f"below {advice.delta_e00_p90:.1f}."
        )
    return lines


def redip_text(advice) -> str:
    """Return a `Redip` as lines for the shell."""
    lines = [f"{_action(advice).lower()}: {advice.why}"]
    if advice.action == "next_bath":
        lines.append(f"{advice.bath}: {settings_text(advice.settings)}")
    if advice.action in _DIPS:
        lines.append(f"expect {lab_text(advice.lab)}, ΔE00 {advice.delta_e00:.1f} (90 %: {advice.delta_e00_p90:.1f})")
    return "\n".join(lines + ([advice.caution] if advice.caution else []))


def coupons_text(coupons) -> str:
    """Return test dips as lines for the shell, a `Coupon` each."""
    return "\n".join(f"{i}. {settings_text(one.settings)}\n   {one.why}" for i, one in enumerate(coupons, start=1))


def strip_text(kept) -> str:
    """Return the bands of a strip that were kept, a line a band."""
    colours = [lab_text(reading["lab"]) for reading in kept.readings] or ["not read"] * len(kept.batches)
    bands = zip(kept.batches, kept.dwells_min, colours, strict=True)
    return "\n".join(f"batch {number}: {dwell_text(dwell)}, {colour}" for number, dwell, colour in bands)


def setting_rows(settings):
    """Return settings as (label, text) pairs in the order in which they are set."""
    texts = _setting_texts(settings)
    return [(FIELDS[name].label.capitalize() if name != "ph" else "pH", text) for name, text in texts.items()]


def setting_fields(settings):
    """Return settings as texts by field, ready to be typed into a form of settings."""
    return {name: text.removesuffix(" min") for name, text in _setting_texts(settings).items()}


def _setting_texts(settings):
    texts = {
        "bath_temp_c": f"{settings['bath_temp_c']:.0f} °C",
        "dwell_min": dwell_text(settings["dwell_min"]),
        "dye_g_per_l": f"{settings['dye_g_per_l']:.2g} g/L",
        "film_um": f"{settings['film_um']:.1f} µm",
    }
    return texts | ({"ph": f"{settings['ph']:.1f}"} if "ph" in settings else {})


def outlook_text(one, tolerance=None) -> str:
    """Return in words how near a `Suggestion` should come, against a tolerance (CIEDE2000) where there is one."""
    how, most = words_of_miss(one.delta_e00, one.miss), f"nine times in ten below {one.delta_e00_p90:.1f}"
    word = reach_word(one, tolerance)
    if word == REACHES:
        return f"Expect {how}; {most}."
    if word == MAY_REACH:
        return f"It may reach it, but too little is known for sure: expect {how}; {most}. A test dip tells."
    if word == NEAR:
        return f"This bath comes near it and not up to it: its nearest shade is {how}."
    return f"This bath cannot reach it. Its nearest shade is {how}."


# CIEDE2000 by which the two figures may lie further apart than what is expected before that is explained; no source
_UNSAID = 1.0


def likely_text(target, one) -> str:
    """Return why a `Suggestion` is expected nearer than its figures lie from the target's; empty where they do not."""
    apart = float(delta_e_00(target, one.lab))
    if apart <= one.delta_e00 + _UNSAID:
        return ""
    return (
        f"The two figures lie ΔE00 {apart:.1f} apart. What their photos may mistake is weighed too: of the shades that "
        f"the sample may have, the likeliest lies about {one.delta_e00:.1f} from this dip."
    )


REACHES, MAY_REACH, NEAR, AWAY = "reaches it", "may reach it", "comes near it", "cannot reach it"
# without a tolerance: up to this CIEDE2000 half of the judges accept a match (ISO/TR 28642, value from memory), up to
# twice that few call it another colour (judgement, no source)
_MATCH = 1.8


def reach_word(one, tolerance: float | None = None):
    """Return whether a `Suggestion` reaches its target: `REACHES`, `MAY_REACH`, `NEAR` or `AWAY`.

    `tolerance`: CIEDE2000 that passes; 1.8 without it.

    Notes
    -----
    The expected difference decides. It counts all doubt, so it may stay above the tolerance in a bath that would
    reach the shade if it were known better: `MAY_REACH`.
    """
    limit = tolerance or _MATCH
    if one.delta_e00 <= limit:
        return REACHES
    if one.reachable:
        return MAY_REACH
    return NEAR if one.delta_e00 <= 2 * limit else AWAY


def forgiving_text(one) -> str:
    """Return how much small errors of time and temperature move the colour of a `Suggestion`."""
    exact = "Be exact: " if max(one.per_10_s, one.per_degree) >= _EXACT else ""
    return sentence_text(f"{exact}{_moves(one.per_10_s, one.per_degree)}")


def lamp_text(one) -> str:
    """Return how far the colour of a `Suggestion` moves from daylight to lamp light."""
    return f"{_under_lamps(one)}; a guide, worked out from the dye."


def _under_lamps(one):
    return (
        f"From daylight to lamp light it moves: {seen_text(one.lamp_a)} (ΔE00 {one.lamp_a:.1f}), to LED light: "
        f"{seen_text(one.lamp_led)} ({one.lamp_led:.1f})"
    )


def stands_text(stands) -> str:
    """Return how a bath stands, a `dyebook.jobs.bath_state.Stands`: "2.8 g/L, 50 °C"; empty where it is not known."""
    if stands is None:
        return ""
    strength = "" if stands.now_g_per_l is None else f"{stands.now_g_per_l:.2g} g/L"
    temp = "" if stands.bath_temp_c is None else f"{stands.bath_temp_c:.0f} °C"
    return ", ".join(text for text in (strength, temp) if text)


def second_way_text(stands, settings) -> str:
    """Return what another temperature or strength of a bath takes: "3 °C warmer, 1.2 g of dye more"; empty for none."""
    takes = []
    if stands.bath_temp_c is not None and abs(warmer := settings["bath_temp_c"] - stands.bath_temp_c) >= 0.5:
        takes.append(f"{abs(warmer):.0f} °C {'warmer' if warmer > 0 else 'cooler'}")
    if stands.now_g_per_l is not None and abs(more := settings["dye_g_per_l"] - stands.now_g_per_l) >= 0.05:
        litres = stands.bath_volume_l
        dye = f"{more * litres:.2g} g of dye more" if litres else f"{more:.2g} g/L more dye"
        takes.append(dye if more > 0 else f"water, down to {settings['dye_g_per_l']:.2g} g/L")
    return ", ".join(takes)


def answer_text(one) -> str:
    """Return a `Suggestion` in one line, to choose by."""
    return f"{settings_text(one.settings)} – {miss_text(one)}"


def depth_text(run) -> str:
    """Return where a `DepthRun` comes nearest to its target, in words and figures."""
    far = float(run.delta_e00[run.nearest])
    return f"Nearest at {dwell_text(run.dwell_min[run.nearest])}: {words_of_miss(far, run.miss)}."


def miss_text(one) -> str:
    """Return the miss of a `Suggestion` in a few words: "a little greener, seen side by side (ΔE00 1.2)"."""
    return words_of_miss(one.delta_e00, one.miss)


def footing_text(one) -> str:
    """Return what a `Suggestion` rests on: whether its settings lie among the dips on record."""
    return sentence_text(one.why.values["footing"])


def baths_text(advice, tolerance=None) -> str:
    """Return a `BathAdvice` as lines for the shell: the baths, best first, then two dyes where no bath reaches it."""
    lines = []
    for number, (name, one) in enumerate(advice.suggestions, start=1):
        lines.append(f"{number}. {name} {reach_word(one, tolerance)}: {settings_text(one.settings)}")
        lines.append(f"   {miss_text(one)}, nine times in ten below {one.delta_e00_p90:.1f}. {lamp_text(one)}")
    nearer = worth_trying(advice.mixes, advice.suggestions[0][1].delta_e00)
    if nearer:
        lines += ["No bath alone reaches it. Two dyes:", mixes_text(nearer)]
    elif advice.mixes:
        lines.append(f"No bath alone reaches it. {NO_NEARER}")
    return "\n".join(lines + left_out_text(advice.left_out))


def worth_trying(mixes, alone):
    """Return the mixes that should reach the target, or come nearer than the best bath alone (CIEDE2000)."""
    return [mix for mix in mixes if mix.reachable or mix.delta_e00 < alone]


def mixes_text(mixes) -> str:
    """Return mixes, best first, as lines for the shell."""
    lines = []
    for number, mix in enumerate(mixes, start=1):
        first, *rest = mix_lines(mix)
        lines += [f"{number}. {first}", *(f"   {line}" for line in rest)]
    return "\n".join(lines)


def left_out_text(left_out) -> list[str]:
    """Return which baths could not be asked and why, a line a bath."""
    return [f"{name} was not asked: {why}." for name, why in left_out.items()]


def mix_lines(mix):
    """Return a `MixSuggestion` as lines: what to expect, then one line a dye, then how far to trust it."""
    dips = [f"{name}: {settings_text(dip)}" for name, dip in zip(mix.dyes, mix.settings, strict=True)]
    head = (
        f"{capital(_MIXED[mix.kind])}: likeliest {words_of_miss(mix.likeliest_delta_e00, mix.miss)}; all doubts "
        f"counted, nine times in ten below {mix.delta_e00_p90:.1f}."
    )
    return [head, *dips, f"How far to trust it: {mix.trust}.", f"{_under_lamps(mix)}."]
