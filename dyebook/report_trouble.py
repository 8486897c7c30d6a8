"""Verdicts, causes and drift as lines for the shell."""

__all__ = ["causes_text", "drift_text", "verdict_text"]

_VERDICTS = {"in": "in tolerance", "out": "out of tolerance", "cannot_tell": "cannot tell: measure again"}
_MEASURES = {"00": "ΔE00", "76": "ΔE*ab", "94": "ΔE94", "cmc": "CMC(2:1)"}


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
    lines = []
    for one in causes[:most]:
        lines.append(f"{100 * one.probability:3.0f} %  {one.because}")
        lines.append(f"       {one.remedy}")
        lines.append(f"       {one.caution}")
    if causes and causes[0].next_test:
        lines.append(f"next: {causes[0].next_test}")
    return "\n".join(lines)


def drift_text(drift):
    """Return a `Drift` as lines for the shell."""
    lines = [drift.why]
    for trend in drift.trends:
        state = {0: "stays put", 1: "up", -1: "down"}[trend.direction]
        lines.append(f"  {trend.name}: {state}, {trend.now:+.2f} (scatter {trend.sd:.2f})")
    lines.append(
        f"a bath that stays put gives a false signal once in about {drift.run_length:.0f} readings, each chart"
    )
    return "\n".join(lines)
