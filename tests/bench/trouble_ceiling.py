"""How much of a fault the evidence holds at all: a classifier taught on the very simulator that it is scored on.

    python -m tests.bench.trouble_ceiling [--simulator first|other] [--set held-out] [--baths 12] [--cases 4]
                                          [--first-seed 9000] [--learned FILE]

It sees the same evidence as `diagnose`, and the table's own answer, and is scored on baths it was not taught on. What
it gets right, `diagnose` could by a table fitted to this simulator; what it misses the evidence hardly tells.
"""

import numpy as np

from dyebook.advice.causes import FLAW_KINDS, IDS, STATES
from dyebook.advice.diagnose import Cause, weigh
from dyebook.advice.evidence import checked_record, gather
from tests.bench import trouble

_UNKNOWN = -9.0
_LEAST = 1e-4
_OF_LOG = ("event", "charge")


def features(case, seen, chances):
    """What is at hand as numbers: every kind of evidence, the flaws counted, and the table's own answer."""
    by_kind = {item.kind: item.likelihoods for item in seen}
    row = []
    for kind, states in STATES.items():
        known = np.asarray(by_kind.get(kind, (np.nan,) * len(states)), float)
        row.extend(np.log(np.maximum(known / np.nanmax(known), _LEAST)) if kind in by_kind else known)
    parts = (case["measurement"] or {}).get("parts") or []
    flaws = [flaw for part in parts for flaw in part["flaws"]]
    for kind in FLAW_KINDS:
        row.extend((*by_kind.get(kind, (np.nan,) * 3), sum(flaw["kind"] == kind for flaw in flaws)))
    row.append(max((part["uniformity"] for part in parts), default=np.nan))
    row.append({True: 1.0, False: 0.0}.get(case["record"].get("sealed"), np.nan))
    row.extend(case["record"].get(name, np.nan) for name in ("rinse_temp_c", "wait_min"))
    return [*np.nan_to_num(row, nan=_UNKNOWN), *np.log(chances)]


def look_at(baths, cases, simulator):
    """Cases, and with a log or without: features (n, k), places in `IDS`, baths, the table's chances (n, 22)."""
    kept, seen_by = [], {False: ([], [], [], []), True: ([], [], [], [])}
    for case, seed, model in trouble.cases_of(baths, cases, simulator):
        seen = gather(case["record"], model, case["measurement"], case["trace"])
        for with_trace, columns in seen_by.items():
            mine = [item for item in seen if with_trace or item.kind not in _OF_LOG]
            chances, _ = weigh(mine, sealed=checked_record(case["record"]).get("sealed"))
            values = features(case, mine, chances), IDS.index(case["cause"]), seed, chances
            for column, value in zip(columns, values, strict=True):
                column.append(value)
        kept.append(case)
    return kept, {with_trace: tuple(map(np.array, columns)) for with_trace, columns in seen_by.items()}


def taught(rows, truth, seeds):
    """Chances (n, 22) of a forest taught on other baths than the one it answers for; every cause counts alike."""
    from sklearn.ensemble import ExtraTreesClassifier
    from sklearn.model_selection import GroupKFold

    chances = np.zeros((len(truth), len(IDS)))
    weight = 1 / np.bincount(truth, minlength=len(IDS))[truth]
    for learn, answer in GroupKFold(4).split(rows, truth, seeds):
        forest = ExtraTreesClassifier(400, min_samples_leaf=2, max_features=0.3, random_state=1)
        forest.fit(rows[learn], truth[learn], sample_weight=weight[learn])
        chances[np.ix_(answer, forest.classes_)] = forest.predict_proba(rows[answer])
    return chances


def answers_of(chances):
    """Chances (22,) as `diagnose` gives them."""
    return [Cause(IDS[i], float(chances[i]), "", "", "", "") for i in np.argsort(-chances, kind="stable")]


def main():
    """Run and print."""
    cases, seen_by = look_at(*trouble.asked_for(__doc__, count=12, cases=4, first_seed=9000))
    for with_trace, (rows, truth, seeds, tables) in seen_by.items():
        for title, chances in (("the table", tables), ("taught on this simulator", taught(rows, truth, seeds))):
            scores = [trouble.score(answers_of(c), case, with_trace) for c, case in zip(chances, cases, strict=True)]
            trouble.table(scores, f"{title}, {'with' if with_trace else 'without'} trace")


if __name__ == "__main__":
    main()
