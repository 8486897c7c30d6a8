"""How often `diagnose` names the cause: spoiled batches with known causes, with and without log and dips before.

    python -m tests.bench.trouble [--simulator first|other] [--set tuning|held-out] [--baths 4] [--cases 3]
                                  [--first-seed 1000] [--learned FILE]

Causes that nothing at hand can separate count as one group: see `group_of`. `--learned` keeps learned baths in a file.
"""

import pickle
import time
from collections import defaultdict
from pathlib import Path

import numpy as np

from dyebook import diagnose, learn_bath
from dyebook.advice.drift import dips_before
from tests.bench import baths, faults, faults_other
from tests.bench.command import command_line


def group_of(cause, case, with_trace):
    """Causes that this case's evidence cannot tell from `cause`."""
    record = case["record"]
    groups = [{"weak_bath", "cold_bath", "short_dwell"}]
    if "film_measured_um" not in record and not with_trace:
        groups[0] |= {"thin_film"}
    if "rinse_temp_c" not in record:
        groups[0] |= {"early_seal"}
    if record.get("sealed") is not False:
        groups[0] |= {"seal_bleed"}
    if not with_trace:
        groups.append({"burn", "pitting"})
    return next((group for group in groups if cause in group), {cause})


def learned_baths(chosen, count, first, keep):
    """Baths of each world, learned from 24 habitual dips: list of (world, seed, bath, model)."""
    known = pickle.loads(keep.read_bytes()) if keep and keep.is_file() else {}
    out = []
    for i in range(count):
        world, seed = chosen[i % len(chosen)], first + i
        bath = world.bath(seed)
        if (world.name, seed) not in known:
            known[world.name, seed] = learn_bath(bath.records(24, np.random.default_rng([seed, 3])))
            if keep:
                keep.write_bytes(pickle.dumps(known))
        out.append((world, seed, bath, known[world.name, seed]))
    return out


def cases_of(baths, cases, simulator=faults):
    """Yield every case with its bath's seed and model; sound batches four times as often as each fault."""
    for _, seed, bath, model in baths:
        for cause in faults.CAUSES:
            for strong in (False, True):
                for k in range(cases * (4 if cause == "sound" else 1)):
                    yield simulator.make_case(bath, cause, strong, 1000 * seed + k), seed, model


WAYS = {"without log": (False, False), "with log": (True, False), "with log and the dips before": (True, True)}


def run(baths, cases, simulator=faults):
    """Rows a case for each of `WAYS`: what the run's log, and then the bath's dips before, are worth."""
    rows = {way: [] for way in WAYS}
    for case, _, model in cases_of(baths, cases, simulator):
        before = dips_before(model, case["before"])
        for way, (with_trace, with_before) in WAYS.items():
            log = case["trace"] if with_trace else None
            answer = diagnose(case["record"], model, case["measurement"], log, before=before if with_before else None)
            rows[way].append(score(answer, case, with_trace))
    return rows


def score(answer, case, with_trace):
    """Figures of one answer."""
    group = group_of(case["cause"], case, with_trace)
    first = group_of(answer[0].id, case, with_trace)
    return {
        "cause": case["cause"],
        "strong": case["strong"],
        "by_photo": case.get("by_photo", False),
        "first": answer[0].id,
        "group": answer[0].id in group,
        "right": answer[0].id == case["cause"],
        "three": case["cause"] in [one.id for one in answer[:3]],
        "three_groups": bool(group & {one.id for one in answer[:3]}),
        "said": answer[0].probability,
        "said_group": sum(one.probability for one in answer if one.id in first),
    }


def calibration_gap(rows, by_cause):
    """Mean distance of what is said of the first group from how often it is right, in fifths of what is said."""
    weight = np.array([1 / len(by_cause[row["cause"]]) for row in rows])
    miss = weight / weight.sum() * [row["said_group"] - row["group"] for row in rows]
    fifth = np.digitize([row["said_group"] for row in rows], [0.2, 0.4, 0.6, 0.8])
    return sum(abs(miss[fifth == one].sum()) for one in range(5))


def table(rows, title):
    """Print the figures; sound batches count as one cause among the others."""
    by_cause = defaultdict(list)
    for row in rows:
        by_cause[row["cause"]].append(row)

    def mean(name, part=None, of=lambda row: True):
        means = [np.mean([r[name] for r in got if of(r)]) for cause, got in by_cause.items() if part in (None, cause)]
        return 100 * float(np.mean(means))

    print(f"{title}: {len(rows)} cases")
    print(f"  group right {mean('group'):.0f} % (weak {mean('group', of=lambda r: not r['strong']):.0f}, strong "
          f"{mean('group', of=lambda r: r['strong']):.0f}); cause first {mean('right'):.0f} %, "
          f"among three {mean('three'):.0f} % (its group {mean('three_groups'):.0f} %)")  # fmt: skip
    print(f"  false alarms on sound {100 - mean('right', 'sound'):.0f} %")
    print(f"  first answer says {mean('said'):.0f} %, is right {mean('right'):.0f} %; "
          f"its group says {mean('said_group'):.0f} %, is right {mean('group'):.0f} %; "
          f"gap {calibration_gap(rows, by_cause):.2f}")  # fmt: skip
    for cause, got in by_cause.items():
        wrong = defaultdict(int)
        for row in got:
            if not row["group"]:
                wrong[row["first"]] += 1
        worst = ", ".join(f"{n} {k}" for k, n in sorted(wrong.items(), key=lambda p: -p[1])[:4])
        print(f"    {cause:22s} group {mean('group', cause):3.0f}  three {mean('three', cause):3.0f}  {worst}")


def asked_for(words, count, cases, first_seed):
    """Learned baths, cases a cause, and the simulator, as the command line has them; the figures where it is silent."""
    parser = command_line(words)
    parser.add_argument("--simulator", choices=("first", "other"), default="first")
    parser.add_argument("--set", choices=("tuning", "held-out"), default="held-out")
    parser.add_argument("--baths", type=int, default=count)
    parser.add_argument("--cases", type=int, default=cases)
    parser.add_argument("--first-seed", type=int, default=first_seed)
    parser.add_argument("--learned", type=Path)
    asked = parser.parse_args()
    simulator, worlds = (faults, baths) if asked.simulator == "first" else (faults_other, faults_other)
    chosen = worlds.TUNING if asked.set == "tuning" else worlds.HELD_OUT
    return learned_baths(chosen, asked.baths, asked.first_seed, asked.learned), asked.cases, simulator


def main():
    """Run and print."""
    asked = asked_for(__doc__, count=4, cases=3, first_seed=1000)
    start = time.perf_counter()
    rows = run(*asked)
    for title, mine in rows.items():
        table(mine, title)
        by_photo = [row for row in mine if row["by_photo"]]
        if by_photo:
            table(by_photo, f"{title}, shops that read by photo")
    print(f"{1000 * (time.perf_counter() - start) / len(mine):.0f} ms a case with its making, thrice diagnosed")


if __name__ == "__main__":
    main()
