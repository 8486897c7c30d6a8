"""Choose the odds from which a flaw is told: python -m tests.bench.flaw_odds --fit 0:120.

Each renderer is judged by trees fitted on the other and on paintings over it, as photos of neither would be; the odds
are those with most flaws found for at most the wanted number of false ones on a sound part, both renderers alike.
"""

import argparse
from pathlib import Path

import numpy as np

from dyebook.photo.flaw.find import LEAST_ODDS, as_trees, likely_flaws
from dyebook.photo.flaw.view import unshaded
from tests.bench.flaw_fit import collect, fit, seen_parts
from tests.bench.flaw_scenes import kept_scene
from tests.bench.flaw_views import covers

_LOW = 0.1
_GRID = np.round(np.arange(0.2, 0.96, 0.05), 2)
_MOST_FALSE = 0.2
_PRICES = np.geomspace(0.3, 3, 12)


def outcomes(parts, trees):
    """Return, for each part, (odds, name, flaws hit) of its candidates, and how many flaws it has."""
    out = []
    for seen in parts:
        least = dict.fromkeys(LEAST_ODDS, _LOW)
        found = likely_flaws(seen.view, unshaded(seen.view), seen.film, seen.outline, trees, least)
        hits = [tuple(k for k, true in enumerate(seen.flaws) if covers(flaw, *true, seen.view)) for _, flaw in found]
        names = [flaw.kind if flaw.kind in least else "place" for _, flaw in found]
        out.append(([(odds, *rest) for (odds, _), *rest in zip(found, names, hits, strict=True)], len(seen.flaws)))
    return out


def rates(parts, least, more):
    """Return the share of flaws found, and the false ones on a sound part."""
    found = flaws = false = sound = 0
    for candidates, true in parts:
        told = []
        for odds, name, hits in candidates:
            if odds >= (max(least[name], more) if told else least[name]):
                told.append(hits)
        found, flaws = found + len({k for hits in told for k in hits}), flaws + true
        false, sound = false + (0 if true else len(told)), sound + (true == 0)
    return found / max(flaws, 1), false / max(sound, 1)


def choose(renderers):
    """Return the odds by name, those of a second flaw, and the rates of each renderer with them."""
    for price in _PRICES:
        chosen = {**dict.fromkeys(LEAST_ODDS, 0.5), "more": 0.6}
        for _ in range(2):
            for name in chosen:
                chosen = max(({**chosen, name: float(v)} for v in _GRID), key=lambda one: _worth(renderers, one, price))
        result = _rates_of(renderers, chosen)
        if np.mean([false for _, false in result]) <= _MOST_FALSE:
            break
    return chosen, result


def _rates_of(renderers, chosen):
    least = {name: value for name, value in chosen.items() if name != "more"}
    return [rates(parts, least, chosen["more"]) for parts in renderers]


def _worth(renderers, chosen, price):
    return np.mean([found - price * false for found, false in _rates_of(renderers, chosen)])


def main():
    """Print the odds and what they lead to."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fit", default="0:120", help="seeds of both renderers, first:end")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep rendered scenes here, and take them from here")
    options = parser.parse_args()
    seeds = range(*(int(n) for n in options.fit.split(":")))
    rows = {renderer: collect(renderer, seeds, options.keep) for renderer in "ab"}
    judged = [judge(renderer, seeds, rows[other], options.keep) for renderer, other in ("ab", "ba")]
    chosen, result = choose(judged)
    print(chosen)
    for renderer, (found, false) in zip("ab", result, strict=True):
        print(f"renderer {renderer}: found {found:.2f}, false {false:.2f} on a sound part")


def judge(renderer, seeds, rows, folder):
    """Return `outcomes` of a renderer's parts, judged by trees fitted to rows."""
    trees = {name: as_trees(table) for name, table in fit(*rows).items()}
    scenes = (kept_scene(renderer, seed, folder) for seed in seeds)
    return outcomes((seen for scene in scenes if scene.card_quad is not None for seen in seen_parts(scene)), trees)


if __name__ == "__main__":
    main()
