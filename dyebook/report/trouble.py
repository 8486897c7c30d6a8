"""Verdicts, causes and drift in words, for the shell and the screens."""

from html import escape

from dyebook.report.words import moment_text

__all__ = [
    "causes_html",
    "causes_text",
    "chance_words",
    "drift_lines",
    "drift_text",
    "leading",
    "less_likely_lines",
    "verdict_lines",
    "verdict_text",
]

_VERDICTS = {"in": "in tolerance", "out": "out of tolerance", "cannot_tell": "cannot tell: measure again"}
_WORTH = 0.05
_STANDS_OUT = 0.35
_UNDECIDED = "No cause stands out by what is at hand; the next test tells more than the order below."
_MEASURES = {"00": "ΔE00", "76": "ΔE*ab", "94": "ΔE94", "cmc": "CMC(2:1)"}


def verdict_lines(verdict):
    """Return a `Verdict` as a headline and lines of words for a screen.

    Parameters
    ----------
    verdict : Verdict

    Returns
    -------
    str
    list of str
    """
    head = {"in": "In tolerance", "out": "Out of tolerance", "cannot_tell": "Cannot tell: measure again"}
    measure, doubt = _MEASURES[verdict.measure], 2 * verdict.delta_e_u
    steps = (("ΔL*", verdict.delta_l), ("ΔC*", verdict.delta_c), ("ΔH*", verdict.delta_h))
    figures = "  ".join(f"{name} {step:+.1f}".replace("-", "−") for name, step in steps)
    lines = [
        f"{verdict.words[:1].upper()}{verdict.words[1:]}: {measure} {verdict.delta_e:.1f} ± {doubt:.1f}, "
        f"tolerance {verdict.tolerance:g}.",
        f"{figures}; grey scale for change in colour {verdict.grade}.",
        *(f"{text[:1].upper()}{text[1:]}." for text in (verdict.why, *verdict.notes)),
    ]
    return head[verdict.verdict], lines


def chance_words(probability):
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


def causes_html(causes):
    """Return causes as HTML: each a bar with its number, the evidence, what to do and what to mind."""
    return "".join(_cause_html(one) for one in causes)


def _cause_html(cause):
    share = round(100 * cause.probability)
    evidence = cause.because.removeprefix(f"{cause.name}: ")
    evidence = evidence[:1].upper() + evidence[1:]
    name = cause.name[:1].upper() + cause.name[1:]
    return (
        f"<section class='cause'><h4>{escape(name)}</h4><p class='chance'><b>{share} %</b> "
        f"{escape(chance_words(cause.probability))}</p><div class='bar'><i style='width:{max(share, 1)}%'></i></div>"
        f"<p>{escape(evidence)}</p><p><b>What to do.</b> {escape(cause.remedy)}</p>"
        f"<p class='care'><b>Take care.</b> {escape(cause.caution)}</p></section>"
    )


def less_likely_lines(causes, shown, least=0.01):
    """Return the causes after the first few `shown` in one line each, such as "cold bath: 4 %"."""
    rest = [one for one in causes[shown:] if one.probability >= least]
    return [f"{one.name}: {100 * one.probability:.0f} %" for one in rest]


def verdict_text(verdict):
    """Return a `Verdict` as lines for the shell."""
    lines = [
        f"{_VERDICTS[verdict.verdict]}: {_MEASURES[verdict.measure]} {verdict.delta_e:.1f} "
        f"± {2 * verdict.delta_e_u:.1f}, tolerance {verdict.tolerance:g}; {verdict.words}",
        f"ΔL* {verdict.delta_l:+.1f}  ΔC* {verdict.delta_c:+.1f}  ΔH* {verdict.delta_h:+.1f}",
        f"grey scale for change in colour: {verdict.grade}",
        verdict.why,
    ]
    return "\n".join(lines + list(verdict.notes))


def causes_text(causes, most=3):
    """Return causes, most probable first, as lines for the shell.

    Parameters
    ----------
    causes : list of Cause
    most : int
        How many to show.

    Returns
    -------
    str
    """
    if not causes:
        return ""
    # every caution ends in the same words: once is enough
    general = _shared_ending([one.caution for one in causes]).strip()
    lines = [_UNDECIDED] if causes[0].probability < _STANDS_OUT else []
    for one in leading(causes, most):
        lines.append(f"{100 * one.probability:3.0f} %  {one.because}")
        lines += [f"       {text}" for text in (one.remedy, one.caution.removesuffix(general).strip()) if text]
    lines += [f"next: {causes[0].next_test}"] * bool(causes[0].next_test)
    return "\n".join([*lines, general])


def _shared_ending(texts):
    shortest = min(texts, key=len)
    return next(shortest[k:] for k in range(len(shortest) + 1) if all(text.endswith(shortest[k:]) for text in texts))


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
    return head, f"{text[:1].upper()}{text[1:]}."


def drift_text(drift):
    """Return a `Drift` as lines for the shell."""
    lines = [drift.why]
    for trend in drift.trends:
        state = {0: "stays put", 1: f"up, {trend.now:+.2f}", -1: f"down, {trend.now:+.2f}"}[trend.direction]
        lines.append(f"  {trend.name}: {state} (scatter {trend.sd:.2f})")
    lines.append(
        f"a bath that stays put gives a false signal once in about {drift.run_length:.0f} readings, each chart"
    )
    return "\n".join(lines)
