"""Generator of invented run logs with known faults, and a table of how well their events are found.

    python -m tests.bench.traces --seed 1000 --count 200
Sound logs and each kind of fault are drawn with random control, ramp, noise, logger, strength and time.
"""

import statistics
import time
from collections import Counter, defaultdict
from dataclasses import dataclass

import numpy as np

from tests.bench.command import command_line, machine

KINDS = ("contact_lost", "intermittent_contact", "short", "runaway", "supply_limit", "power_break", "hot_electrolyte")
LOGGERS_S = (0.5, 1, 2, 5, 10, 15, 20, 30, 60)
FINE_S = 0.5


@dataclass
class Run:
    """An invented log before and after its logger, with what went wrong in it."""

    rng: np.random.Generator
    minutes: float
    control: str
    has_voltage: bool
    has_temp: bool
    t: np.ndarray = None
    current: np.ndarray = None
    voltage: np.ndarray = None
    temp: np.ndarray = None
    settled_min: float = 0.0
    limit_a: float | None = None
    limit_given: bool = False
    kind: str = "sound"
    at_min: float = float("nan")
    log_s: float = 1.0

    def between(self, low, high):
        """A uniform draw."""
        return float(self.rng.uniform(low, high))

    def log_between(self, low, high):
        """A draw uniform in the logarithm."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def chance(self, share):
        """True with that probability."""
        return bool(self.rng.random() < share)


def make_run(seed, kind="sound"):
    """One invented log.

    Parameters
    ----------
    seed : int
    kind : str
        ``"sound"`` or one of `KINDS`.

    Returns
    -------
    dict
        time_min, current_a, voltage_v or None, electrolyte_temp_c or None, supply_max_a or None, kind, at_min, log_s.
    """
    rng = np.random.default_rng([seed, ("sound", *KINDS).index(kind)])
    columns = rng.choice(["i", "iv", "ivt", "it"], p=[0.35, 0.35, 0.2, 0.1])
    run = Run(rng, float(rng.uniform(12, 75)), str(rng.choice(["cc", "cv"])), "v" in columns, "t" in columns)
    if kind == "hot_electrolyte":
        run.has_temp = True
    if kind == "contact_lost" and not run.has_voltage:
        run.control = "cv"
    run.kind = kind
    run.log_s = float(rng.choice([s for s in LOGGERS_S if run.minutes * 60 / s >= 20]))
    _sound(run)
    if kind == "sound":
        _set_points(run)
    else:
        _FAULTS[kind](run)
    return _logged(run)


def _sound(run):
    run.t = np.arange(0, run.minutes, FINE_S / 60)
    ramp = run.between(0.05, 5) if run.chance(0.85) else 0.03
    ramp = min(ramp, 0.2 * run.minutes)
    start = run.between(0.1, 2) if run.chance(0.35) else 0.0
    shape = _ramp(run, start, ramp)
    level = run.log_between(0.3, 30)
    volts = run.between(11, 20)
    since = np.maximum(run.t - start - ramp, 0)
    drift = run.between(-0.2, 0.12) * since / run.minutes
    settle = run.between(0.05, 0.5) * np.exp(-since / run.between(0.3, 4)) * (since > 0)
    if run.control == "cv":
        settle_on = settle if run.chance(0.7) else 0.0
        run.current = level * shape * np.exp(drift + settle_on)
        run.voltage = volts * shape ** run.between(0.3, 1)
    else:
        creep = run.between(-0.02, 0.12) * (1 - np.exp(-since / run.between(3, 40)))
        bump = run.between(-0.06, 0.12) * np.exp(-since / run.between(0.2, 3))
        run.current = level * shape
        run.voltage = volts * shape ** run.between(0.2, 0.6) * np.exp(creep + bump)
    run.settled_min = start + ramp
    warm = run.between(0, 2.2) * np.clip(since / run.minutes, 0, 1)
    run.temp = run.between(17, 21) + warm
    run.limit_a = float(run.current.max()) * run.between(1.06, 2.5)
    run.limit_given = run.chance(0.5)


def _ramp(run, start, ramp):
    x = np.clip((run.t - start) / ramp, 0, 1)
    form = run.rng.choice(["linear", "curved", "stages", "s"])
    if form == "curved":
        x = (1 - np.exp(-3 * x)) / (1 - np.exp(-3))
    elif form == "stages":
        stages = run.rng.integers(2, 6)
        x = np.clip(np.ceil(x * stages) / stages, 0, 1)
    elif form == "s":
        x = x * x * (3 - 2 * x)
    return x


def _set_points(run):
    """Lawful changes of the set value: seen together in current and voltage, or upwards only."""
    if run.has_voltage and run.chance(0.3):
        for _ in range(run.rng.integers(1, 3)):
            at = run.between(run.settled_min + 1, run.minutes * 0.95)
            factor = run.between(0.6, 1.5)
            after = np.clip((run.t - at) / run.between(0.01, 1.0), 0, 1)
            run.current *= factor**after
            run.voltage *= factor ** (after * run.between(0.25, 0.8))
    elif not run.has_voltage and run.chance(0.1):
        at = run.between(run.settled_min, run.settled_min + 0.2 * run.minutes)
        run.current *= run.between(1.05, 1.4) ** np.clip((run.t - at) / run.between(0.01, 0.5), 0, 1)
    run.limit_a = float(run.current.max()) * run.between(1.06, 2.5)


def _onset(run, least_after_min=2.0):
    step = run.log_s / 60
    early = run.settled_min + max(1.5, 3 * step)
    late = run.minutes - max(least_after_min, 4 * step)
    run.at_min = run.between(early, max(late, early + 0.1))
    return run.t >= run.at_min, np.maximum(run.t - run.at_min, 0)


def _contact_lost(run):
    _, since = _onset(run, 3.0)
    if run.chance(0.6):
        share = np.clip(since / run.between(0.005, 0.3), 0, 1)
    else:
        share = 1 - np.exp(-since / run.between(0.3, min(4.0, (run.minutes - run.at_min) / 2)))
    lost = run.between(0.15, 0.85)
    if run.control == "cv":
        run.current *= 1 - lost * share
        return
    rise = 1 + run.between(0.08, 0.6) * share
    ceiling = run.voltage.max() * (run.between(1.02, 1.3) if run.chance(0.3) else 9.0)
    wanted = run.voltage * rise
    run.voltage = np.minimum(wanted, ceiling)
    run.current *= (run.voltage / np.maximum(wanted, 1e-9)) ** 2


def _intermittent_contact(run):
    _onset(run, 4.0)
    length = min(run.between(3, 20), run.minutes - run.at_min)
    step = run.log_s / 60
    saw = run.chance(0.25)
    lowered = np.zeros_like(run.t)
    at, count = run.at_min, 0
    while at < run.at_min + length or count < 4:
        wide = max(run.between(0.03, 0.5), run.between(1.0, 2.0) * step)
        inside = (run.t >= at) & (run.t < at + wide)
        depth = run.between(0.25, 1.0)
        if saw:
            lowered[inside] = depth * (run.t[inside] - at) / wide
        else:
            lowered[inside] = depth
        count += 1
        at += wide + max(run.log_between(0.06, 1.5), run.between(1.0, 3.0) * step)
        if at > run.minutes - step:
            break
    if run.control == "cv" or not run.has_voltage or run.chance(0.4):
        run.current *= 1 - lowered
        if run.control == "cc":
            run.voltage *= 1 + 0.4 * lowered
    else:
        run.voltage *= 1 + 0.7 * lowered


def _short(run):
    after, since = _onset(run, 1.0)
    factor = run.log_between(1.5, 5)
    collapse = run.between(0.05, 0.5)
    step = run.log_s / 60
    if run.chance(0.4):
        after &= since < max(run.between(0.3, 5), 2 * step)
    trip = run.chance(0.25) and run.t[after][-1] == run.t[-1]
    if run.control == "cv" or not run.has_voltage:
        run.current[after] *= factor
        if run.chance(0.3):
            run.current[after] = np.minimum(run.current[after], run.limit_a)
            after &= True
        rough = 1 + 0.1 * run.rng.standard_normal(after.sum()) * run.chance(0.4)
        run.current[after] *= np.clip(rough, 0.6, 1.6)
    run.voltage[after] *= collapse
    if run.limit_given:
        run.limit_a = max(run.limit_a, float(run.current.max()) * run.between(1.0, 1.5))
    if trip:
        off = run.t > run.at_min + max(run.between(0.5, 4), 3 * step)
        run.current[off] = 0
        run.voltage[off] = 0


def _runaway(run):
    _, since = _onset(run, 4.0)
    room = run.minutes - run.at_min
    tau = run.between(0.8, 6)
    peak = run.between(1.4, 4)
    tau = min(tau, 0.8 * room / np.log(peak))
    form = run.rng.choice(["exp", "quadratic"])
    rise = np.exp(since / tau) if form == "exp" else 1 + (peak - 1) * (since / (tau * np.log(peak))) ** 2
    rise = np.minimum(rise, peak)
    if run.control == "cv" or not run.has_voltage:
        run.current *= rise
        if run.chance(0.3):
            run.voltage *= rise ** -run.between(0, 0.3)
    else:
        fall = np.maximum(rise ** -run.between(0.4, 1), 0.3)
        erratic = 1 + 0.06 * run.rng.standard_normal(run.t.size) * (since > 0) * run.chance(0.5)
        run.voltage *= fall * erratic
    run.temp = run.temp + run.between(0, 4) * (rise - 1) / (peak - 1)
    run.limit_a = float(run.current.max()) * run.between(1.0, 1.6)
    ended = since > tau * np.log(peak) + run.between(0.5, 5)
    if run.chance(0.3) and ended.any():
        run.current[ended] = 0
        run.voltage[ended] = 0


def _supply_limit(run):
    run.limit_given = True
    wanted = run.current.copy()
    top = float(np.median(wanted[run.t > run.settled_min]))
    run.limit_a = top * run.between(0.5, 0.95)
    if run.chance(0.4):
        _onset(run, 4.0)
        run.limit_a = 1.02 * float(wanted.max())
        since = np.maximum(run.t - run.at_min, 0)
        wanted = wanted * (
            1
            + (run.between(0.3, 1.0) + wanted.max() / top - 1)
            * np.clip(since / min(run.between(0.3, 6), 0.4 * (run.minutes - run.at_min)), 0, 1)
        )
    held = wanted > run.limit_a
    run.current = np.minimum(wanted, run.limit_a * run.between(0.993, 1.004))
    run.voltage = run.voltage * np.where(wanted > 0, run.current / np.maximum(wanted, 1e-9), 1) ** run.between(0.2, 0.6)
    run.at_min = float(run.t[held][0])


def _power_break(run):
    _onset(run, 3.0)
    step = run.log_s / 60
    for number in range(run.rng.integers(1, 3)):
        at = run.at_min if number == 0 else run.between(run.at_min, run.minutes)
        long = max(run.log_between(0.4, 8), 1.6 * step)
        back = at + long
        if back + max(1.0, 3 * step) > run.minutes:
            long = max(1.6 * step, run.minutes - at - max(1.0, 3 * step))
            back = at + long
        off = (run.t >= at) & (run.t < back)
        again = np.clip((run.t - back) / run.between(0.01, 1.0), 0, 1) if run.chance(0.5) else (run.t >= back) * 1.0
        soft = np.where(run.t >= at, again, 1.0)
        run.current *= soft
        run.voltage *= soft**0.4
        run.current[off] = 0
        run.voltage[off] = 0


def _hot_electrolyte(run):
    _, since = _onset(run, 5.0)
    room = run.minutes - run.at_min
    rise = run.between(7, 16)
    form = run.rng.choice(["line", "curve", "all"])
    if form == "line":
        warm = rise * np.clip(since / run.between(1, 0.8 * room), 0, 1)
    elif form == "curve":
        warm = rise * (1 - np.exp(-since / run.between(0.5, room / 3)))
    else:
        warm = run.between(8, 14) + 0 * since
    run.temp = run.temp + warm
    run.at_min = float(run.t[np.argmax(run.temp > 24.5)])
    if run.control == "cv":
        run.current *= np.exp(run.between(0, 0.02) * warm)
    else:
        run.voltage *= np.exp(-run.between(0, 0.008) * warm)
    run.limit_a = float(run.current.max()) * run.between(1.06, 2.5)


_FAULTS = {
    "contact_lost": _contact_lost,
    "intermittent_contact": _intermittent_contact,
    "short": _short,
    "runaway": _runaway,
    "supply_limit": _supply_limit,
    "power_break": _power_break,
    "hot_electrolyte": _hot_electrolyte,
}


def _logged(run):
    """The run as its logger wrote it: sampled, noisy, in steps, with gaps and glitches."""
    every = max(1, round(run.log_s / FINE_S))
    pick = np.arange(run.rng.integers(0, every), run.t.size, every)
    t, current, voltage, temp = run.t[pick], run.current[pick], run.voltage[pick], run.temp[pick]
    level = float(np.median(current[current > 0]))
    current = current * (1 + _noise(run, t, run.log_between(0.001, 0.025))) + 0.001 * level * run.rng.standard_normal(
        t.size
    )
    voltage = voltage * (1 + _noise(run, t, run.log_between(0.0005, 0.01)))
    temp = temp + 0.2 * run.rng.standard_normal(t.size)
    current = _in_steps(current, run.rng.choice([0, 0.001, 0.01, 0.02]) * level)
    voltage = _in_steps(voltage, run.rng.choice([0, 0.01, 0.1]))
    temp = _in_steps(temp, run.rng.choice([0, 0.1, 0.5]))
    if run.kind == "sound" and run.log_s <= 5 and run.chance(0.15):
        spots = run.rng.integers(0, t.size, run.rng.integers(1, 3))
        current[spots] *= run.rng.uniform(0.7, 1.3, spots.size)
    keep = np.ones(t.size, bool)
    if run.chance(0.12):
        hole = run.between(0.1 * run.minutes, 0.8 * run.minutes)
        keep = (t < hole) | (t > hole + run.between(0.5, 3))
        if keep.sum() < 15 or (run.kind != "sound" and abs(hole - run.at_min) < 5):
            keep[:] = True
    t, current, voltage, temp = t[keep], current[keep], voltage[keep], temp[keep]
    if run.chance(0.3):
        t, current, voltage, temp = _switched_off(run, t, current, voltage, temp)
    return {
        "time_min": t,
        "current_a": current,
        "voltage_v": voltage if run.has_voltage else None,
        "electrolyte_temp_c": temp if run.has_temp else None,
        "supply_max_a": run.limit_a if run.limit_given else None,
        "kind": run.kind,
        "at_min": run.at_min,
        "log_s": run.log_s,
    }


def _switched_off(run, t, current, voltage, temp):
    """The logger runs on after the run: zeros, sometimes after a ramp down."""
    step = run.log_s / 60
    tail = np.arange(1, 2 + max(2, run.between(0.3, 3) / step)) * step
    fall = np.clip(1 - tail / run.between(0.2, 1.0), 0, 1) if run.chance(0.4) else np.zeros(tail.size)
    return (
        np.concatenate([t, t[-1] + tail]),
        np.concatenate([current, current[-1] * fall]),
        np.concatenate([voltage, voltage[-1] * fall**0.5]),
        np.concatenate([temp, np.full(tail.size, temp[-1])]),
    )


def _noise(run, t, size):
    """White noise with a wandering share."""
    white = run.rng.standard_normal(t.size)
    wander = np.zeros(t.size)
    keep = np.exp(-run.log_s / 60 / run.between(0.2, 2))
    push = run.rng.standard_normal(t.size) * np.sqrt(1 - keep**2)
    for i in range(1, t.size):
        wander[i] = keep * wander[i - 1] + push[i]
    share = run.between(0, 0.6)
    return size * (np.sqrt(1 - share) * white + np.sqrt(share) * wander)


def _in_steps(values, step):
    return np.round(values / step) * step if step > 0 else values


def score(seeds, find, make=make_run):
    """Confusion of planted and found kinds.

    Parameters
    ----------
    seeds : iterable of int
    find : callable
        Takes a log of `make_run`, returns a list of (kind, time_min).
    make : callable
        The generator.

    Returns
    -------
    dict
        Per planted kind: runs, found, in_time, wrong (runs with a kind that was not planted), extras (Counter),
        errors_min (list).
    """
    table = {}
    for kind in ("sound", *KINDS):
        row = {"runs": 0, "found": 0, "in_time": 0, "wrong": 0, "extras": Counter(), "errors_min": [], "missed": []}
        for seed in seeds:
            log = make(seed, kind)
            events = find(log)
            _tally(row, log, events, seed)
        table[kind] = row
    return table


def _tally(row, log, events, seed):
    row["runs"] += 1
    kinds = {kind for kind, _ in events}
    times = [at for kind, at in events if kind == log["kind"]]
    if times:
        row["found"] += 1
        error = min((at - log["at_min"] for at in times), key=abs)
        row["errors_min"].append(error)
        row["in_time"] += abs(error) <= max(2.0, 3 * log["log_s"] / 60)
    elif log["kind"] != "sound":
        row["missed"].append(seed)
    extra = kinds - {log["kind"]}
    row["wrong"] += bool(extra)
    row["extras"].update(extra)
    if extra:
        row.setdefault("false_seeds", defaultdict(list))
        for kind in extra:
            row["false_seeds"][kind].append(seed)


def _find(log):
    from dyebook.physics.trace.events import find_events

    events = find_events(
        log["time_min"], log["current_a"], log["voltage_v"], log["electrolyte_temp_c"], log["supply_max_a"]
    )
    return [(event.kind, event.time_min) for event in events]


def run_bench(make, description):
    """Print the table of one generator."""
    parser = command_line(description)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--misses", action="store_true", help="list the seeds that went wrong")
    options = parser.parse_args()
    started = time.perf_counter()
    table = score(range(options.seed, options.seed + options.count), _find, make)
    print(f"{machine()}, seeds {options.seed} to {options.seed + options.count - 1}")
    print(f"{'planted':22}{'runs':>6}{'found %':>9}{'in time %':>11}{'wrong %':>9}{'median late, min':>18}  extras")
    for kind, row in table.items():
        runs = row["runs"]
        late = statistics.median(row["errors_min"]) if row["errors_min"] else float("nan")
        print(
            f"{kind:22}{runs:6}{100 * row['found'] / runs:9.1f}{100 * row['in_time'] / runs:11.1f}"
            f"{100 * row['wrong'] / runs:9.1f}{late:18.2f}  {dict(row['extras'])}"
        )
        if options.misses:
            print("    missed", row["missed"][:12], {k: v[:8] for k, v in row.get("false_seeds", {}).items()})
    faults = [row for kind, row in table.items() if kind != "sound"]
    runs = sum(row["runs"] for row in faults)
    print(
        f"recall {100 * sum(r['found'] for r in faults) / runs:.1f} %, "
        f"false alarms on sound logs {100 * table['sound']['wrong'] / table['sound']['runs']:.1f} %, "
        f"wrong kinds on faulty logs {100 * sum(r['wrong'] for r in faults) / runs:.1f} %, "
        f"{1000 * (time.perf_counter() - started) / (runs + table['sound']['runs']):.1f} ms a log with its making"
    )


if __name__ == "__main__":
    run_bench(make_run, __doc__)
