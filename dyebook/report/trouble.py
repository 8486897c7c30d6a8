"""Verdicts, causes and drift in words, for the shell and the screens.

`CAUSES` and `QUESTIONS` say for each id of the table of causes what it is called, what to do and what to ask.
"""

from html import escape

from dyebook.report.bench import CAUTIONS
from dyebook.report.words import COVERAGE, capital, lab_text, moment_text, seen_text, sentence_text

__all__ = [
    "SENTENCES", "causes_html", "causes_text", "difference_figures", "drift_lines", "drift_text", "false_signals_text",
    "leading", "less_likely_lines", "probability_text", "question_text", "sample_lines", "verdict_figures",
    "verdict_line", "verdict_lines", "verdict_text",
]  # fmt: skip

_OFF = CAUTIONS["supply_off"]
# name, remedy, and the keys of the cautions that go with it
CAUSES = {
    "sound": ("nothing wrong", "Nothing to do; if the shade is off all the same, ask for new settings."),
    "thin_film": (
        "thin film",
        "Measure the area again and work out charge and time anew; run longer next time. A dyed part with too little "
        "film is accepted as it is, or stripped by a specialist and run again.",
        "supply_off", "strip",
    ),
    "contact_loss": (
        "contact lost in the run",
        f"{_OFF} Then clean the contact and clamp down to bright metal, clamp firmly, and never move a part once the "
        "current is on. The part is best stripped by a specialist and run again.",
        "hydrogen", "strip",
    ),
    "burn": (
        "burnt in the run",
        f"{_OFF} Let the tank cool. Run again with a slower ramp, less current density, more agitation and a firm "
        "contact.",
        "hot_electrolyte", "hydrogen", "strip",
    ),
    "pitting": (
        "pitting, as chloride gives",
        "Have chloride in the electrolyte and the rinse measured; make up with deionised water; keep rinses short and "
        "titanium racks insulated. Pits stay after stripping.",
        "protection", "waste",
    ),
    "weak_bath": (
        "weak or spent dye bath",
        "Dip a check coupon of known film; top the bath up by what its strength chart says, stir until dissolved.",
        "dye", "waste",
    ),
    "cold_bath": (
        "dye bath colder than set",
        "Check the bath with a second thermometer, stirred, at the depth of the part; wait until it is warm through.",
        "hot_bath",
    ),
    "short_dwell": (
        "too short in the dye",
        "If the part is unsealed: wet it, dip again for the rest of the time. Use a clock.",
        "hot_bath",
    ),
    "over_dyed": (
        "over-dyed",
        "Dip shorter or in a weaker bath and filter it; wipe wet, never rub dry. Taking dye out again is specialist "
        "work.",
        "dye",
    ),
    "ph_off": (
        "pH of the dye bath off",
        "Calibrate the meter, read the pH, and bring it back in small steps with what the dye's data sheet names.",
        "dye", "protection",
    ),
    "contaminated_bath": (
        "dirt or another dye in the bath",
        "Dip a check coupon and compare with the bath's line; filter; if the shade stays off, make up a new bath and "
        "keep the old one as waste. Rinse racks between baths.",
        "dye", "waste",
    ),
    "surface_contamination": (
        "grease, fingerprints or wax before the run",
        "Degrease again, look for water breaks, handle with clean gloves only. The part is stripped by a specialist "
        "and run again.",
        "caustic", "strip",
    ),
    "smut": (
        "smut left from etching",
        "Desmut until a white cloth wiped over the wet part stays clean; give difficult alloys longer.",
        "desmut", "strip",
    ),
    "wrong_dye": (
        "wrong dye",
        "Check the label of the bath and the batch card. The part is stripped by a specialist and run again.",
        "strip", "dye",
    ),
    "early_seal": (
        "pores closed before the dye",
        "Rinse cold, below 30 °C, and dye at once; never let parts stand in the rinse. A part that only dried, clean "
        "and unsealed, still takes dye: wet it through and dip it one minute before a specialist strips it.",
    ),
    "seal_bleed": (
        "dye bled out in the seal",
        "Rinse well before sealing; bring the seal to its temperature and pH; expect more bleed from lukewarm seals.",
        "hot_bath", "nickel",
    ),
    "seal_bloom": (
        "bloom from the seal",
        "Wipe gently with a soft wet cloth; then bring the seal's pH, water and time back to its data sheet.",
        "nickel", "hot_bath",
    ),
    "acid_bleed_out": (
        "acid bled out of a hole or seam",
        "Flush holes and seams long and cold, turning the part; neutralise them with bicarbonate and rinse again; plug "
        "holes before the run.",
        "trapped_acid", "protection",
    ),
    "gas_pocket": (
        "gas or air trapped on the part",
        f"Hang it so that gas can leave: hollows upward, a little tilt, more agitation. {_OFF}",
        "hydrogen",
    ),
    "level_line": (
        "part stood out of the bath",
        "Fill up the bath and hang the part lower; the line stays, so the part is stripped by a specialist.",
        "strip",
    ),
    "alloy_mismatch": (
        "another alloy or temper",
        "Ask what the metal is; note it; keep alloys apart on the jig and teach the bath each of them.",
    ),
    "uneven_run": (
        "current spread unevenly over the load",
        f"Hang parts at even distance from the cathodes, shield edges, run slower. {_OFF}",
        "hydrogen",
    ),
}  # fmt: skip

# what is asked, and what to do to find out where looking is not enough
QUESTIONS = {
    "film_thin": (
        "Does the gauge read less film than planned?",
        "gauge the film at several places: too thin means the run, right means the dye or the seal",
    ),
    "takes_more": (
        "Did a second dip of 2 minutes darken it?",
        "a second dip of 2 minutes, never dried, unsealed, the bath at its temperature and strength: no change means "
        "the film is full or its pores are closed",
    ),
    "coupon_off": (
        "Does a check coupon of known film come out off too, in the same way?",
        "dip a check coupon of known film: if it is off too, it is the bath",
    ),
    "thermometer": (
        "Does a second thermometer, in the stirred bath, read lower than noted?",
        "check the bath with a second thermometer, stirred, at the depth of the part",
    ),
    "ph_read": (
        "The pH was not noted: does a freshly calibrated meter read another than this bath's usual?",
        "read the bath's pH, which was not noted, with a freshly calibrated meter",
    ),
    "area": (
        "Does the area, measured again with threads, bores and the jig, come out larger than noted?",
        "measure the area again, with threads, bores and the jig: more than noted means less film for the same charge",
    ),
    "clock": ("Can the dip have been shorter than noted?", ""),
    "long_unused": ("Has the bath dyed much, or stood long, since it was last topped up?", ""),
    "warm_rinse": ("Was the rinse before the dye warm to the hand?", ""),
    "waited": ("Did the part stand in water for more than a quarter of an hour before the dye?", ""),
    "loose": ("Is the mark of the clamp pale or loose, or did the part move in the run?", ""),
    "rough": ("Do the marks feel rough or hollow under a fingernail?", ""),
    "bare_edges": ("Are there powdery or bare places ringed dark, at edges or near the clamp?", ""),
    "wipes_white": ("Does a white or grey veil come off on a soft wet cloth?", ""),
    "wipes_colour": ("Does colour come off on a wet cloth, or is there a metallic sheen?", ""),
    "seal_coloured": ("Was the part paler after the seal than before, or the seal coloured?", ""),
    "at_holes": ("Do the marks start at holes, threads or seams?", ""),
    "prints": ("Do the marks look like fingers, drops or smears with sharp edges?", ""),
    "hollow": ("Is the pale place round or a crescent, on an underside or in a hollow?", ""),
    "level": ("Is there one straight edge that was level in the bath?", ""),
    "jig": ("Does the shade change steadily along the part or across the jig?", ""),
    "same_metal": ("Can the metal be another alloy or temper than usual?", ""),
    "other_dye": ("Can it have been another bath, or has another dye got into this one?", ""),
    "grey_cloth": ("Did a white cloth turn grey on the part before the run?", ""),
}
_CHANGES = {
    "thinner film": "a thinner film", "weaker bath": "a weaker bath", "colder bath": "a colder bath",
    "shorter dip": "a shorter dip", "less taken up": "less dye taken up", "a little bled": "some dye bled out",
    "more dye": "more dye", "pH moved": "another pH", "hue shifted": "a shifted hue",
    "foreign dye": "a foreign dye in the bath", "another dye": "another dye", "greyed": "a grey metal",
    "other metal": "another metal", "veiled": "a white veil", "bare in places": "bare places",
}  # fmt: skip
_PLACES = {"end": "at an end of the part", "edge": "at an edge", "inside": "inside the outline"}
_BEFORE = {
    "as usual": "as they should",
    "weaker": "as from a weaker bath",
    "stronger": "as from a stronger bath",
    "off too": "off too, beside all that this dye's strength can do",
}
_CHARTS = {"delta_l": "lightness", "delta_c": "strength of colour", "delta_h": "hue", "log_strength": "dye strength"}
_WAYS = {"delta_l": ("lighter", "darker"), "delta_c": ("stronger", "duller"), "delta_h": ("hue up", "hue down")}


def _because(cause, evidence, alike, pits_without_log):
    text = "; ".join(evidence) or "nothing at hand speaks for or against it"
    if alike:
        text += f". Nothing at hand separates this from: {', '.join(CAUSES[other][0] for other in alike)}"
    if pits_without_log:
        text += ". Pits come from chloride and from a burn; without the run's log both stay possible"
    return f"{CAUSES[cause][0]}: {text}."


def _colour(difference, delta_e00, changes):
    names = [_CHANGES[name] for name in changes if name != "as set"]
    listed = ", ".join(names[:-1]) + " or " * (len(names) > 1) + "".join(names[-1:])
    causes = ", or ".join(["as expected"] * ("as set" in changes) + [f"as from {listed}"] * bool(names))
    return f"against what the bath should give the reading is {difference} (ΔE00 {delta_e00:.1f}), {causes}"


def _drift(cause, ways, since, strength, top_up_g, foul):
    if cause == "camera":
        return "the check coupon drifts with the bath's readings: look at the camera and the card first"
    colour = [_WAYS[name][direction < 0] for name, direction in ways if name in _WAYS]
    text = f"this bath has been drifting since {since}: {', '.join(colour) or 'its strength'}"
    if foul:
        text += "; no strength of its dye gives these colours: look for dirt or another dye before topping up"
    if strength is not None:
        text += f"; about {100 * abs(1 - strength):.0f} % {'below' if strength < 1 else 'above'} its start"
    if top_up_g is not None:
        text += f", top up {top_up_g:.1f} g"
    if cause == "unclear":
        text += "; read the check coupon too: only it tells a drifting camera from a drifting bath"
    return text


def _steady(readings, charts, camera):
    if camera:
        return "the check coupon drifts: renew the camera's profile or the card before trusting the charts"
    return f"{readings} readings, none of {charts} charts has moved" if charts > 1 else f"{readings} readings, steady"


def false_signals_text(drift) -> str:
    """Return how often the charts of a `Drift` signal falsely, all together, and what they see how soon."""
    return (
        f"Of ten that are steady and read like this, about {10 * drift.false_in_hundred:.0f} signal by chance within a "
        "hundred readings; a step of one and a half times the usual scatter is seen within "
        f"{drift.seen_after} readings half of the time."
    )


def _plain(kind):
    return kind.replace("_", " ")


# causes, the evidence for them, and drift: the `Note`s of `dyebook.advice`
def _unlike(yes, no):
    return lambda target: (
        f"the target was read {yes if target else no}, the sample {no if target else yes}: compare like with like"
    )


def _through_coupon(verdict, delta_e00, u, step, taken, **_):
    apart = (
        f"sample and part were read in two set-ups, which differ by {lab_text(step, signed='+')} on the check coupon"
    )
    other = f"{_VERDICTS[verdict].lower()}, ΔE00 {delta_e00:.1f} ± {COVERAGE * u:.1f}"
    return f"{apart}; {'that is taken off, and as read it was' if taken else 'with that taken off'}: {other}"


def _verdict_in(delta_e00, u, tolerance, smallest, between):
    if between:
        return "it lies between the limit samples, surely enough"
    return "the difference is inside what you allow, even at the far end of its ±" if u else "it is what you allow"


def _verdict_out(delta_e00, u, tolerance, smallest, between):
    if between:
        return "it lies beyond the limit samples, surely enough"
    return "the difference is more than you allow, even at the near end of its ±" if u else "it is more than you allow"


def _verdict_cannot_tell(delta_e00, u, tolerance, smallest, between):
    return f"these two readings are not sure enough for {tolerance:g}; they could decide {smallest:.0f} or more"


SENTENCES = {
    "verdict_in": _verdict_in,
    "verdict_out": _verdict_out,
    "verdict_cannot_tell": _verdict_cannot_tell,
    "unlike_wet": _unlike("wet", "dry"),
    "unlike_sealed": _unlike("sealed", "unsealed"),
    "unlike_geometry": lambda target: "the two instruments measure in other geometries: compare like with like",
    "in_one_photo": "sample and part in one photo: judged by their difference, most of the camera's error cancels",
    "through_coupon": _through_coupon,
    "one_photo": lambda smallest: "would decide: sample and part side by side in one photo",
    "same_setup": lambda smallest: "would decide: both with the same camera, lamp, card and place",
    "same_shape": lambda smallest: "would decide: pieces of the same shape and finish side by side",
    "photograph_sample": lambda smallest: "would decide: the sample itself, photographed as the part was",
    "more_photos": lambda smallest: "would decide: two more photos of each",
    "learn_camera": lambda smallest: "would decide: a learned camera, from one photo of the colour chart",
    "like_states": lambda smallest: "would decide: both wet or both dry, both sealed or both not",
    "wider_tolerance": lambda smallest: f"only a tolerance of {smallest:.1f} or more could be decided",
    "name": lambda cause: CAUSES[cause][0],
    "because": _because,
    "remedy": lambda cause: CAUSES[cause][1],
    "caution": lambda cause: " ".join(CAUTIONS[key] for key in (*CAUSES[cause][2:], "general")),
    "test": lambda question: QUESTIONS[question][1] or QUESTIONS[question][0],
    "parts_alike": "the {count} parts are alike (ΔE00 {delta_e00:.1f})",
    "two_parts_differ": "the two parts differ (ΔE00 {delta_e00:.1f})",
    "one_part_pale": "part {number} is paler than its neighbours (ΔE00 {delta_e00:.1f})",
    "parts_differ": "the parts differ among themselves (ΔE00 {delta_e00:.1f})",
    "parts_graded": "the shade changes step by step across the jig (ΔE00 {delta_e00:.1f})",
    "no_flaws": "a look for flaws found none",
    "none_of_kind": lambda kind: f"no {_plain(kind)}",
    "flaws": lambda kind, count, delta_e00: f"{count} × {_plain(kind)} on the photo, up to ΔE00 {delta_e00:.0f}",
    "flaw_count": lambda kind, state: f"{state} {_plain(kind)}{'' if state == 'one' else 's'}",
    "flaw_extent": lambda kind, area_fraction: f"the {_plain(kind)} takes {100 * area_fraction:.2g} % of the part",
    "flaw_place": lambda kind, place: f"the {_plain(kind)} lies {_PLACES[place]}",
    "flaw_form": lambda kind, form: f"the form of the {_plain(kind)} is {form}",
    "leading_flaw": lambda kind: f"most of the flaws are {_plain(kind)}s",
    "colour": _colour,
    "film": "the gauge reads {film_um:.1f} µm where {plan_um:.1f} µm was planned",
    "charge": "the charge gives {film_um:.1f} µm where {plan_um:.1f} µm was planned",
    "evenness": "the surface is {state} (ΔE00 {delta_e00:.1f})",
    "no_event": "the run's log shows nothing unusual",
    "event": lambda kind, time_min: f"the run's log shows {_plain(kind)} at {time_min:.0f} min",
    "rinse": "the rinse before the dye was {temp_c:.0f} °C ({state})",
    "wait": "it waited {minutes:.0f} min between rinse and dye ({state})",
    "ph": "the pH was {ph:.1f}, {step:+.1f} from the bath's usual",
    "bath_temp": lambda temp_c, state: (
        f"the bath was {temp_c:.0f} °C, {state} {'for it' if state == 'usual' else 'than it ever is'}"
    ),
    "dwell": "the dwell was {minutes:.1f} min, {state} for this bath",
    "difficult_alloy": "{alloy} is a difficult alloy for dye work",
    "alloy": lambda alloy, usual: f"the alloy is {alloy}, {'as usual' if alloy == usual else f'usually {usual}'}",
    "dips_before": lambda count, state: f"the {count} dips before it came out {_BEFORE[state]}",
    "drift": _drift,
    "steady": _steady,
}


def question_text(name: str) -> str:
    """Return a question of `dyebook.advice.diagnose` as it is put to people."""
    return QUESTIONS[name][0]


_VERDICTS = {"in": "Matches", "out": "Off", "cannot_tell": "Cannot tell"}
_OTHERS = {"76": "ΔE*ab", "94": "ΔE94", "cmc": "CMC(2:1)"}
_WORTH = 0.05
_STANDS_OUT = 0.35
_UNDECIDED = "No cause stands out by what is at hand; the next test tells more than the order below."


def verdict_line(verdict) -> str:
    """Return a `Verdict` in a few words, such as "off, seen at a glance: ΔE00 6.2 ± 0.9, you allow 2"."""
    return f"{_VERDICTS[verdict.verdict].lower()}, {seen_text(verdict.delta_e00)}: {verdict_figures(verdict)}"


def verdict_figures(verdict, allowed="you allow") -> str:
    """Return a `Verdict` in figures, such as "ΔE00 0.8 ± 0.9, you allow 2"."""
    give_or_take = f" ± {COVERAGE * verdict.delta_e00_u:.1f}" if verdict.delta_e00_u else ""
    return f"ΔE00 {verdict.delta_e00:.1f}{give_or_take}, {allowed} {verdict.tolerance:g}"


def sample_lines(verdict) -> list[str]:
    """Return what to say when an order's sample was read too loosely, of `sample_verdict`; nothing where it was not."""
    if verdict is None or verdict.verdict != "cannot_tell":
        return []
    head = (
        f"The sample was read too loosely for {verdict.tolerance:g}: even a part just like it could only be judged "
        f"from ΔE00 {verdict.smallest_tolerance:.1f} on."
    )
    return [head, *(sentence_text(text) for text in verdict.would_decide)]


def verdict_lines(verdict) -> tuple[str, list[str]]:
    """Return a `Verdict` as a headline and lines for screens and paper; ± is twice the standard uncertainty."""
    how = "No difference to speak of" if verdict.words == "the same" else capital(verdict.words)
    seen = "" if verdict.words == "the same" else f", {seen_text(verdict.delta_e00)}"
    # that a wider tolerance could be decided is said already
    would = [text for text in verdict.would_decide if text.code != "trouble.wider_tolerance"]
    lines = [
        f"{how}{seen}: {verdict_figures(verdict)}.",
        *(sentence_text(text) for text in (verdict.why, *verdict.notes, *would)),
    ]
    return _VERDICTS[verdict.verdict], lines


def difference_figures(verdict):
    """Return the parts of a difference and what other formulas make of it, in one line."""
    steps = (("ΔL*", verdict.delta_l), ("ΔC*", verdict.delta_c), ("ΔH*", verdict.delta_h))
    signed = [f"{name} {step:+.1f}".replace("-", "−") for name, step in steps]
    return "  ".join([*signed, *(f"{_OTHERS[name]} {value:.1f}" for name, value in verdict.others.items())])


def probability_text(probability) -> str:
    """Return a probability as people say it, such as "about 6 in 10"."""
    if probability < 0.015:
        return "hardly"
    if probability < 0.095:
        return f"about {round(100 * probability)} in 100"
    tenths = min(round(10 * probability), 9)
    return "nearly certain" if probability > 0.95 else f"about {tenths} in 10"


def leading(causes, most=3):
    """Return the likeliest causes, as far as they deserve a look: the first, and others of a twentieth or more."""
    return [one for place, one in enumerate(causes[:most]) if place == 0 or one.probability >= _WORTH]


def causes_html(causes) -> str:
    """Return causes as HTML: each a bar with its chance, the evidence, what to do and to mind; no caution twice."""
    cares = _cares(causes)
    shown = "".join(_cause_html(one, care) for one, care in zip(causes, cares, strict=True))
    return f"{shown}<p class='care'>{escape(CAUTIONS['general'])}</p>"


def _cares(causes):
    """What to take care of with each cause, said with the first that calls for it."""
    said = [CAUSES[one.id][2:] for one in causes]
    fresh = ([key for key in keys if key not in sum(said[:place], ())] for place, keys in enumerate(said))
    return [" ".join(CAUTIONS[key] for key in keys) for keys in fresh]


def _cause_html(cause, care):
    share = round(100 * cause.probability)
    evidence = cause.because.removeprefix(f"{cause.name}: ")
    return (
        f"<section class='cause'><h4>{escape(capital(cause.name))}</h4><p class='chance'>"
        f"{escape(probability_text(cause.probability))}</p>"
        f"<div class='bar'><i style='width:{max(share, 1)}%'></i></div>"
        f"<p>{escape(capital(evidence))}</p><p><b>What to do.</b> {escape(cause.remedy)}</p>"
        + (f"<p class='care'><b>Take care.</b> {escape(care)}</p>" if care else "")
        + "</section>"
    )


def less_likely_lines(causes, shown, least=0.01) -> list[str]:
    """Return the causes after the first few `shown` in one line each, such as "cold bath: about 4 in 100"."""
    rest = [one for one in causes[shown:] if one.probability >= least]
    return [f"{one.name}: {probability_text(one.probability)}" for one in rest]


def verdict_text(verdict) -> str:
    """Return a `Verdict` as lines for the shell."""
    head, lines = verdict_lines(verdict)
    return "\n".join([f"{head}: {lines[0]}", difference_figures(verdict), *lines[1:]])


def causes_text(causes, most: int = 3) -> str:
    """Return causes, most probable first, as lines for the shell.

    `most`: how many to show.
    """
    if not causes:
        return ""
    lines, shown = [_UNDECIDED] if causes[0].probability < _STANDS_OUT else [], leading(causes, most)
    for one, care in zip(shown, _cares(shown), strict=True):
        lines.append(f"{100 * one.probability:3.0f} %  {one.because}")
        lines += [f"       {text}" for text in (one.remedy, care) if text]
    lines += [f"next: {causes[0].next_test}"] * bool(causes[0].next_test)
    return "\n".join([*lines, CAUTIONS["general"]])


def drift_lines(drift):
    """Return a `Drift` as a headline and a line of words for a screen."""
    since = moment_text(drift.since) if isinstance(drift.since, str) else drift.since
    pieces = drift.why.replace(str(drift.since), str(since)).split("; ")
    if drift.cause == "camera":
        head = "The camera or the card drifts"
    elif not any(trend.direction for trend in drift.trends):
        head = "Steady"
    elif drift.strength is None:
        head = f"Has moved since {since}"
    else:
        word, way = ("Fading", "below") if drift.strength < 1 else ("Growing stronger", "above")
        grams = f", top up {drift.top_up_g:.1f} g" if drift.top_up_g is not None else ""
        head = f"{word} since {since}: about {100 * abs(1 - drift.strength):.0f} % {way} make-up{grams}"
        pieces = [piece for piece in pieces if not piece.startswith("about ")]
    text = "; ".join(pieces)
    return head, f"{capital(text)}."


def drift_text(drift) -> str:
    """Return a `Drift` as lines for the shell."""
    lines = [drift.why]
    for trend in drift.trends:
        unit, share = (" %", 100) if trend.name == "log_strength" else ("", 1)
        now = f"{share * trend.now:+.1f}{unit}".replace("-", "−")
        state = {0: "steady", 1: f"up, {now}", -1: f"down, {now}"}[trend.direction]
        lines.append(f"  {_CHARTS.get(trend.name, trend.name)}: {state} (usual scatter {share * trend.sd:.1f}{unit})")
    return "\n".join([*lines, false_signals_text(drift)])
