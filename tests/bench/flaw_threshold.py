"""Choose the probability from which a flaw is reported: python -m tests.bench.flaw_threshold [--seeds 0:12].

Each renderer is judged by trees fitted on the other and on flaws painted over it, as photos of neither would be. Chosen
are the probabilities with most flaws found for at most the wanted number of false ones on a sound part, over both
renderers.
"""

import argparse

import numpy as np

from dyebook.photo.flaw.find import LEAST_PROBABILITY, likely_flaws
from dyebook.photo.flaw.view import unshaded
from tests.bench.flaw_fit import collect, fit, seen_parts
from tests.bench.flaw_scenes import flaw_scene
from tests.bench.flaw_views import covers
from tests.bench.scenes import first_end

# candidates below this are not looked at; the probabilities tried; false flaws on a sound part allowed; how many flaws
# found a false one is worth, tried from low to high
_LOWEST = 0.1
_GRID = np.round(np.arange(0.2, 0.96, 0.05), 2)
_MOST_FALSE = 0.2
_COSTS = np.geomspace(0.3, 3, 12)


def outcomes(parts, trees):
    """Return, for each part, (probability, name, flaws hit) of its candidates, and how many flaws it has."""
    out = []
    for seen in parts:
        least = dict.fromkeys(LEAST_PROBABILITY, _LOWEST)
        candidates = []
        for probability, flaw in likely_flaws(seen.view, unshaded(seen.view), seen.film, seen.outline, trees, least):
            hits = tuple(k for k, true in enumerate(seen.flaws) if covers(flaw, *true, seen.view))
            candidates.append((probability, flaw.kind if flaw.kind in least else "place", hits))
        out.append((candidates, len(seen.flaws)))
    return out


def rates(parts, least, more):
    """Return the share of flaws found, and the false ones on a sound part; flaws beyond the first need `more`."""
    found = flaws = false = sound = 0
    for candidates, true in parts:
        reported = []
        for probability, name, hits in candidates:
            if probability >= (max(least[name], more) if reported else least[name]):
                reported.append(hits)
        found, flaws = found + len({k for hits in reported for k in hits}), flaws + true
        false, sound = false + (0 if true else len(reported)), sound + (true == 0)
    return found / max(flaws, 1), false / max(sound, 1)


def choose(renderers):
    """Return the probabilities by name, that of a second flaw as "more", and the rates of each world with them."""
    for cost in _COSTS:
        chosen = {**dict.fromkeys(LEAST_PROBABILITY, 0.5), "more": 0.6}
        for _ in range(2):
            for name in chosen:
                tried = ({**chosen, name: float(value)} for value in _GRID)
                chosen = max(tried, key=lambda one: _gain(renderers, one, cost))
        result = _rates_of(renderers, chosen)
        if np.mean([false for _, false in result]) <= _MOST_FALSE:
            break
    return chosen, result


def _rates_of(renderers, chosen):
    least = {name: value for name, value in chosen.items() if name != "more"}
    return [rates(parts, least, chosen["more"]) for parts in renderers]


def _gain(renderers, chosen, cost):
    return np.mean([found - cost * false for found, false in _rates_of(renderers, chosen)])


def main():
    """Print the probabilities and what they lead to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0:12", help="set-ups of both worlds, first:end")
    seeds = first_end(parser.parse_args().seeds)
    rows = {renderer: collect(renderer, seeds) for renderer in "ab"}
    judged = []
    for renderer, other in ("ab", "ba"):
        scenes = (flaw_scene(renderer, seed) for seed in seeds)
        parts = (seen for scene in scenes if scene.card_quad is not None for seen in seen_parts(scene))
        judged.append(outcomes(parts, fit(*rows[other])))
    chosen, result = choose(judged)
    print(chosen)
    for renderer, (found, false) in zip("ab", result, strict=True):
        print(f"renderer {renderer}: found {found:.2f}, false {false:.2f} on a sound part")


if __name__ == "__main__":
    main()
