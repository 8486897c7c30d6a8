"""A second, separately written generator of run logs: bolder noise and blunter faults than in `traces.py`.

    python -m tests.bench.traces_plain [--seed 1] [--count 100]

Nothing was tuned on seeds of 1000 and above.
"""

import numpy as np

from tests.bench.traces import KINDS, run_bench


def make_run(seed, kind="sound"):
    """One invented log in the form of `traces.make_run`."""
    rng = np.random.default_rng([7, seed, ("sound", *KINDS).index(kind)])
    step_s = float(rng.choice([1, 2, 5, 10, 20, 30, 60]))
    minutes = float(rng.uniform(max(15, 25 * step_s / 60), 70))
    t = np.arange(0, minutes, step_s / 60)
    ramp = np.clip(t / rng.uniform(0.5, 4), 0, 1)
    level = float(np.exp(rng.uniform(np.log(0.5), np.log(20))))
    current, voltage = level * ramp, rng.uniform(12, 18) * ramp**0.5
    constant_voltage = rng.random() < 0.5
    if constant_voltage:
        current = current * np.exp(-rng.uniform(0, 0.2) * t / minutes)
    else:
        voltage = voltage * (1 + rng.uniform(0, 0.08) * t / minutes)
    temp = 20 + rng.normal(0, 0.7) + rng.uniform(0, 2) * t / minutes
    at = float(rng.uniform(6, minutes - max(5, 5 * step_s / 60)))
    state = {"t": t, "i": current, "v": voltage, "temp": temp, "at": at, "cv": constant_voltage, "limit": None}
    state["limit"] = level * rng.uniform(1.08, 2) if rng.random() < 0.4 else None
    if kind != "sound":
        _FAULTS[kind](rng, state)
    return _logged(rng, state, kind, step_s)


def _contact_lost(rng, s):
    since = np.maximum(s["t"] - s["at"], 0)
    left = rng.uniform(0.25, 0.8)
    gone = (since > 0) * 1.0 if rng.random() < 0.5 else 1 - np.exp(-since / rng.uniform(0.5, 4))
    s["i"] = s["i"] * (1 - (1 - left) * gone)
    if not s["cv"]:
        s["v"] = s["v"] * (1 + rng.uniform(0.0, 0.3) * gone)


def _intermittent_contact(rng, s):
    inside = (s["t"] > s["at"]) & (s["t"] < s["at"] + rng.uniform(4, 15))
    hit = inside & (rng.random(s["t"].size) < rng.uniform(0.2, 0.5))
    if hit.sum() < 3:
        hit[np.flatnonzero(inside)[::2][:4]] = True
    s["i"] = np.where(hit, s["i"] * rng.uniform(0.05, 0.7, hit.size), s["i"])
    s["at"] = float(s["t"][hit][0])


def _short(rng, s):
    after = s["t"] >= s["at"]
    if rng.random() < 0.5:
        step = s["t"][1] - s["t"][0]
        after &= s["t"] < s["at"] + max(rng.uniform(0.3, 4), 2 * step)
    s["i"] = np.where(after, s["i"] * rng.uniform(1.6, 4), s["i"])
    s["v"] = np.where(after, s["v"] * rng.uniform(0.05, 0.5), s["v"])


def _runaway(rng, s):
    since = np.maximum(s["t"] - s["at"], 0)
    room = s["t"][-1] - s["at"]
    rise = 1 + (rng.uniform(1.6, 4) - 1) * (since / min(room, rng.uniform(3, 12))) ** rng.uniform(1, 2.5)
    rise = np.minimum(rise, 5)
    s["i"] = s["i"] * rise
    s["v"] = s["v"] * rise ** -rng.uniform(0, 0.3)
    s["temp"] = s["temp"] + rng.uniform(0, 3) * np.clip(rise - 1, 0, 1)


def _supply_limit(rng, s):
    s["limit"] = float(np.quantile(s["i"], 0.9)) * rng.uniform(0.6, 0.97)
    s["at"] = float(s["t"][np.argmax(s["i"] > s["limit"])])
    s["v"] = s["v"] * np.where(s["i"] > s["limit"], s["limit"] / np.maximum(s["i"], 1e-9), 1) ** 0.5
    s["i"] = np.minimum(s["i"], s["limit"])


def _power_break(rng, s):
    step = s["t"][1] - s["t"][0]
    off = (s["t"] >= s["at"]) & (s["t"] < s["at"] + max(rng.uniform(0.5, 4), 1.5 * step))
    s["i"], s["v"] = np.where(off, 0, s["i"]), np.where(off, 0, s["v"])


def _hot_electrolyte(rng, s):
    since = np.maximum(s["t"] - s["at"], 0)
    s["temp"] = s["temp"] + np.minimum(rng.uniform(0.5, 3) * since, rng.uniform(8, 15))
    s["at"] = float(s["t"][np.argmax(s["temp"] > 24.5)])
    if not (s["temp"] > 25).any():
        s["temp"] = s["temp"] + 9
        s["at"] = 0.0
    s["hot"] = True


_FAULTS = {
    "contact_lost": _contact_lost,
    "intermittent_contact": _intermittent_contact,
    "short": _short,
    "runaway": _runaway,
    "supply_limit": _supply_limit,
    "power_break": _power_break,
    "hot_electrolyte": _hot_electrolyte,
}


def _logged(rng, s, kind, step_s):
    noise = rng.choice([0.002, 0.005, 0.01, 0.02, 0.03])
    size = s["t"].size
    columns = rng.choice(["i", "iv", "ivt"])
    return {
        "time_min": s["t"],
        "current_a": np.maximum(s["i"] * (1 + noise * rng.standard_normal(size)), 0),
        "voltage_v": s["v"] * (1 + 0.5 * noise * rng.standard_normal(size)) if "v" in columns else None,
        "electrolyte_temp_c": s["temp"] + 0.15 * rng.standard_normal(size) if "t" in columns or "hot" in s else None,
        "supply_max_a": s["limit"],
        "kind": kind,
        "at_min": s["at"],
        "log_s": step_s,
    }


if __name__ == "__main__":
    run_bench(make_run, __doc__)
