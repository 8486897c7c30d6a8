"""What measuring an archive again has moved, as lines for the shell."""

from itertools import pairwise

__all__ = ["moved_text"]

_WIDTH = 40


def moved_text(told):
    """Return the lines for a `dyebook.jobs.remeasure.Moved` as its dict."""
    verb = "would move" if told["dry_run"] else "measured again"
    lines = [f"{told['photos']} of {told['waiting']} photos looked at, {told['readings']} readings {verb}"]
    if told["readings"]:
        figures = told["delta_e00"]
        lines.append(
            f"moved by ΔE00 {figures['median']:.2f} (half of them), {figures['p95']:.2f} (95 of 100), at most "
        )
        lines[-1] += f"{figures['max']:.2f}"
        lines += _bars(told["histogram"])
        lines += [f"batch {one['batch']} moved by {one['delta_e00']:.2f}" for one in told["worst"]]
    lines += [f"not measured again, old reading stands: {one['photo']}: {one['why']}" for one in told["troubles"]]
    if told["stopped"]:
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
