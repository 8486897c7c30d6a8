"""Runs on the bench in the words and figures of the screens."""

from datetime import datetime

from dyebook.report_bench import figure_text
from dyebook.report_screen import moment_text

__all__ = [
    "anodised_words",
    "clock_text",
    "event_line",
    "events_count_text",
    "limit_text",
    "minutes_text",
    "note_text",
    "now_words",
    "on_text",
    "plan_words",
    "preparation_words",
    "ratio_text",
    "run_line",
    "run_title",
    "share_text",
    "wet_step_text",
]


def clock_text(moment):
    """Return the clock time of a moment as "14:32", on this machine's clock."""
    return f"{moment.astimezone():%H:%M}"


def minutes_text(minutes):
    """Return a time as "45 s", "31 min 20 s" or "1 h 05 min"."""
    seconds = round(minutes * 60)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        whole, rest = divmod(seconds, 60)
        return f"{whole} min" + (f" {rest} s" if rest else "")
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} min"


def run_title(row):
    """Return a run as "Run 12: 12 µm (0.472 mil), 28 Mar 2026, 09:24"."""
    film = figure_text("film_um", row["film_um"], row["film_sd_um"]) if row["film_um"] else "film not known"
    when = moment_text(row["started_at"]) if row["started_at"] else "not started"
    return f"Run {row['id']}: {film}, {when}"


def run_line(state):
    """Return a run in one line for the shell: number, state, when, film, batch.

    Parameters
    ----------
    state : dict
        As `RunState.to_dict`.
    """
    when = moment_text(state["started_at"]) if state["started_at"] else "not started"
    film = f"{figure_text('planned_film_um', state['planned_film_um'])} wanted"
    if state["film_um"] is not None:
        film = figure_text("film_um", state["film_um"], state["film_um_sd"])
    if state["film_measured_um"] is not None:
        film += f", {figure_text('film_measured_um', state['film_measured_um'])} by gauge"
    tail = f", until {clock_text(datetime.fromisoformat(state['ends_at']))}" if state["state"] == "on" else ""
    batch = f", batch {state['batch']}" if state["batch"] else ""
    return f"run {state['run']:>4}  {state['state']:<7}  {when}, {film}{tail}{batch}"


def on_text(row, stand):
    """Return a run that is on as one line: "**Run 12 is on** until 14:32 – film now about 7.2 ± 0.9 µm (0.283 mil)"."""
    until = "its film is reached" if stand.done else f"until {clock_text(stand.ends_at)}"
    until = "paused" if stand.paused else until
    film = figure_text("film_um", stand.film_um, stand.film_um_sd)
    return f"**Run {row['id']} is on**, {until} – film now about {film}"


def now_words(stand):
    """Return where a run stands as pairs of label and text.

    Parameters
    ----------
    stand : RunNow

    Returns
    -------
    list of (str, str)
    """
    return [
        ("film now about", figure_text("film_um", stand.film_um, stand.film_um_sd)),
        ("ends at", "now" if stand.done else "paused" if stand.paused else clock_text(stand.ends_at)),
        ("charge so far", figure_text("charge_ah", stand.charge_ah)),
        ("current, as last noted", figure_text("current_a", stand.current_a)),
    ]


def limit_text(plan, wanted, instead):
    """Return what a supply that is too small still does.

    Parameters
    ----------
    plan : SupplyPlan
        Held back by the supply.
    wanted, instead : FilmPlan
        The run as it was meant, and the run of the same time that the supply allows.

    Returns
    -------
    str
    """
    meant = minutes_text(wanted.minutes)
    film = figure_text("film_um", instead.film_um, instead.film_um_sd)
    return (
        f"The supply stops at {figure_text('current_a', plan.current_a)}; {figure_text('wanted_a', plan.wanted_a)} "
        f"were wanted. The film takes {minutes_text(plan.run.minutes)} instead of {meant}; in {meant} it gets to "
        f"{film}. At your density the supply carries {figure_text('area_dm2', plan.largest_area_dm2)}."
    )


def plan_words(row):
    """Return what a run was planned as: pairs of label and text."""
    plan = row["trace"]["plan"]
    pairs = [
        ("film wanted", figure_text("film_um", plan["film_um"])),
        ("time planned", minutes_text(plan["minutes"])),
        ("area", figure_text("area_dm2", row["area_dm2"])),
        ("set the supply to", figure_text("current_a", plan["current_a"])),
        ("alloy", row["alloy"]),
        ("electrolyte", row["electrolyte_temp_c"] and figure_text("electrolyte_temp_c", row["electrolyte_temp_c"])),
    ]
    return [(label, text) for label, text in pairs if text]


def anodised_words(row, electrolyte=None):
    """Return how a run truly was: pairs of label and text, of a row of the book."""
    gauge = (row["trace"] or {}).get("gauge_um", ())
    measured = row["film_measured_um"] and figure_text("film_measured_um", row["film_measured_um"])
    read = f"{measured}, {len(gauge)} readings" if measured and len(gauge) > 1 else measured
    names = ("area_dm2", "current_density_a_per_dm2", "charge_ah", "electrolyte_temp_c")
    known = {name: figure_text(name, row[name]) for name in names if row[name] is not None}
    by_charge = row["film_from_charge_um"]
    pairs = [
        ("started", row["started_at"] and moment_text(row["started_at"])),
        ("time", row["anodise_min"] and minutes_text(row["anodise_min"])),
        ("area", known.get("area_dm2")),
        ("current density", known.get("current_density_a_per_dm2")),
        ("charge", known.get("charge_ah")),
        ("film from charge", by_charge and figure_text("film_um", by_charge, row["film_sd_um"])),
        ("film by gauge", read),
        ("electrolyte", ", ".join(filter(None, [electrolyte, known.get("electrolyte_temp_c")]))),
    ]
    return [(label, text) for label, text in pairs if text]


def preparation_words(ticks):
    """Return the steps ticked before a run, in order, such as "water break test: holds"."""
    lines = []
    for tick in ticks:
        state = {None: "", True: ": holds", False: ": did not pass"}[tick["passed"]]
        took = f", {minutes_text(tick['dwell_min'])}" if tick["dwell_min"] else ""
        note = f" – {tick['note']}" if tick["note"] else ""
        lines.append(f"{tick['kind'].replace('_', ' ')}{state}{took}{note}")
    return lines


def wet_step_text(step):
    """Return a rinse or seal of a batch in words, such as "hot water, 97.0 °C (207 °F), 30 min"."""
    temp = step.get("rinse_temp_c") if "rinse_temp_c" in step else step["seal_temp_c"]
    parts = [
        (step["kind"] or "kind not noted").replace("_", " "),
        temp is not None and figure_text("bath_temp_c", temp),
        step["dwell_min"] and minutes_text(step["dwell_min"]),
    ]
    return ", ".join(part for part in parts if part)


def event_line(event):
    """Return an event of a log as (head, remedy): "contact lost at 12.4 min: current fell …" and what to do."""
    head = f"{event['kind'].replace('_', ' ').capitalize()} at {minutes_text(event['time_min'])}"
    return f"{head}: {event['because']}", event["remedy"]


def events_count_text(count):
    """Return how many events a log shows, in words."""
    return {0: "Nothing unusual was found in this log.", 1: "One thing happened."}.get(
        count, f"{count} things happened."
    )


def ratio_text(film_measured_um, film_um):
    """Return a gauged film over the reckoned one as "0.94 of the reckoned"."""
    return f"{film_measured_um / film_um:.2f} of the reckoned"


def share_text(factor):
    """Return a factor as "1.20 times"."""
    return f"{factor:.2f} times"


def note_text(note):
    """Return one note of a run as "09:34: 2.90 A, 21.0 °C (70 °F)"."""
    seen = [figure_text(name, note[name]) for name in ("current_a", "electrolyte_temp_c") if name in note]
    if "voltage_v" in note:
        seen.insert(1, f"{note['voltage_v']:.3g} V")
    return f"{clock_text(datetime.fromisoformat(note['at']))}: {', '.join(seen)}"
