"""One batch: its photo with what was read, its settings, its doubts, the run behind it, and what was changed."""

import streamlit as st

from dyebook.errors import BookError
from dyebook.jobs.orders import target_of
from dyebook.jobs.photo import draw_kept
from dyebook.jobs.verdict import UNLIKE_BATH, vouch_for
from dyebook.jobs.wet import surface_of
from dyebook.lab import Lab
from dyebook.record import FIELDS, SETTINGS, parse_value
from dyebook.report import batches as report_batches
from dyebook.report import bench as report_bench
from dyebook.report import photo as report_photo
from dyebook.report import words as report_words
from dyebook.screens import paper, session, tasks
from dyebook.screens.answers import deed, show_doubt, show_flags, show_pairs
from dyebook.screens.navigation import go_to_order, go_to_photo, go_to_trouble
from dyebook.screens.orders import ask_instrument, show_verdict
from dyebook.screens.piece import take_to_bench
from dyebook.screens.settings import fill_with, texts_of
from dyebook.screens.shade.target import read_colour
from dyebook.screens.swatch import show_swatch

__all__ = ["show", "show_run"]


def show_run(book, number):
    """Draw what the bench knows of a batch's run; nothing where it never went over the bench."""
    run_id = book.row("batches", number)["run_id"]
    row = None if run_id is None else book.row("runs", run_id)
    if row is None or row["trace"] is None:
        return
    tank = row["electrolyte_id"] and book.row("electrolytes", row["electrolyte_id"])["name"]
    st.subheader("Anodised", anchor=False)
    show_pairs(report_bench.anodised_words(row, tank))
    for event in row["trace"].get("events", ()):
        head, remedy = report_bench.event_line(event)
        show_doubt(remedy, head)
    ticks = sorted(book.rows("preparations", run_id=run_id), key=lambda one: one["position"])
    if ticks:
        st.markdown(f"Prepared: {report_words.plain('; '.join(report_bench.preparation_words(ticks)))}.")
    for table, label in (("rinses", "Rinsed"), ("seals", "Sealed")):
        for step in book.rows(table, batch_id=number):
            st.markdown(f"{label}: {report_words.plain(report_bench.wet_step_text(step))}.")


def show(book, number: int, on_back):
    """Draw one batch.

    `on_back`: called to go back to the wall.
    """
    st.button("Back to the wall", key="back", icon=":material/arrow_back:", on_click=on_back)
    row = book.batch(number)
    st.title(report_words.plain(" · ".join([f"Batch {number}", *report_batches.job_text(row)])), anchor=False)
    standing = book.row("batches", number)["deleted_at"] is None
    if not standing:
        st.warning("This batch is marked as deleted; it is in no list and in no model.")
    left, right = st.columns([3, 2], gap="large")
    with left, session.friendly_errors():
        _show_photos(book, number, row.version)
    with right:
        _show_readings(book, row)
        _ask_reading(book, number)
        show_verdict(book, number)
        _show_verdicts(book, number)
        _show_settings(row)
        show_run(book, number)
        _offer_more(book, row)
        paper.offer_batch_papers(book, number)
    _show_changes(book, row, standing)


def _show_photos(book, number, version):
    count = len(book.rows("readings", batch_id=number)), len(book.rows("photos", batch_id=number))
    key, words = (book.place.name, number, version, count), f"Drawing the photos of batch {number}"
    pictures = tasks.done("kept photos", key, words, lambda job: draw_kept(book, number, progress=job), most=24)
    if not pictures:
        st.markdown("No photo is kept with this batch.")
        if st.button("Photograph it", key="photograph", icon=":material/photo_camera:"):
            go_to_photo(batch=number)
    for name, picture in pictures:
        st.image(picture, width="stretch", alt=f"Photo of batch {number}, with what was read outlined")
        kind = "Rendered, not photographed. " if session.is_demo() else ""
        st.caption(f"{kind}{report_words.plain(name)}. Yellow: the card. Blue: the part that was read.")


def _show_readings(book, row):
    readings = book.rows("readings", batch_id=row.batch)
    if not readings:
        st.markdown("Not read yet.")
        return
    for reading in reversed(readings):
        lab, u = Lab(reading["L"], reading["a"], reading["b"]), [reading[f"{axis}_sd"] for axis in "Lab"]
        known = None if None in u else u
        show_swatch(lab, _title(reading, len(readings)), known, [_state_words(reading)])
        show_flags(report_photo.flag_lines(reading["flags"] or ()))
    if any(UNLIKE_BATH in (reading["flags"] or ()) for reading in readings):
        st.button("Yes, this bath gave it", key="vouch", **session.tap(vouch_for, book, row.batch))
    st.caption(f"Swatches are approximate: a screen is not a light booth. {report_words.PLUS_MINUS}")
    if len(readings) > 1 and row.lab is not None:
        st.markdown(f"Mean of the readings in this state: {report_words.lab_text(row.lab, row.lab_u)}")


def _ask_reading(book, number):
    """What an instrument read on a dry part of the batch."""
    with st.expander("Read by an instrument"):
        text = st.text_input("L*, a*, b* of a dry part", key="instrument_lab", placeholder="35, 10, −42")
        read = ask_instrument("instrument", read_colour(text, book)) if text.strip() else None
        if st.button("Keep this reading", key="keep_instrument", disabled=read is None):
            lab = [read[axis] for axis in "Lab"]
            book.add_reading(number, lab, **read, wet=False, sealed=surface_of(book, number)[1])
            st.rerun()


def _title(reading, count):
    sources = {"photo": "From a photo", "instrument": "By an instrument", "typed": "As typed"}
    when = report_words.moment_text(reading["read_at"] or reading["added_at"])
    return f"{sources[reading['source']]}, {when}" if count > 1 else sources[reading["source"]]


def _state_words(reading):
    wet = {None: "", True: "read wet", False: "read dry"}[reading["wet"]]
    sealed = {None: "", True: "sealed", False: "not sealed"}[reading["sealed"]]
    state = ", ".join(word for word in (wet, sealed) if word) or "state of the surface not noted"
    return f"{state}, geometry {reading['geometry']}" if reading["geometry"] else state


def _show_verdicts(book, number):
    """What was decided about it for other targets than its order's, and the way to the order."""
    order_id = book.row("batches", number)["order_id"]
    own = target_of(book, order_id) if order_id else None
    if order_id and st.button("To its order", key="to_its_order", type="tertiary"):
        go_to_order(order_id)
    for verdict in book.rows("verdicts", batch_id=number):
        if own is not None and verdict["target_id"] == own["id"]:
            continue
        target = book.row("targets", verdict["target_id"])["name"] if verdict["target_id"] else None
        st.markdown(f"**{report_words.plain(report_batches.verdict_text(verdict, target))}**")


def _show_settings(row):
    st.subheader("Set", anchor=False)
    lines = [
        (FIELDS[name].label, report_words.value_text(name, getattr(row, name)) if name != "dyed_at" else _when(row))
        for name in SETTINGS
    ]
    show_pairs([(label, text) for label, text in lines if text])
    if row.replaces:
        st.markdown(f"Done again after stripping batch {row.replaces}.")


def _offer_more(book, row):
    with deed(), st.container(key="beside_batch", horizontal=True):
        why = row.lab is not None and st.button("Why did it come out so?", key="to_trouble", width="stretch")
        again = st.button("Repeat this batch", key="repeat", type="primary", width="stretch")
    if why:
        go_to_trouble(row.batch)
    if again:
        take_to_bench(book, texts_of(row), f"as batch {row.batch}")
    if st.button("Write another like it down", key="write_alike", type="tertiary"):
        fill_with(texts_of(row))
        go_to_photo(without=True)


def _when(row):
    return (
        report_words.moment_text(row.dyed_at)
        if row.dyed_at
        else f"written down {report_words.moment_text(row.added_at)}"
    )


def _show_changes(book, row, standing):
    with st.expander("Correct a setting"):
        _correct(book, row)
    history = _history(book, row.batch)
    count = "nothing was changed" if not history else "1 change" if len(history) == 1 else f"{len(history)} changes"
    with st.expander(f"History: {count}"):
        for line in history:
            st.markdown(report_words.plain(report_batches.change_text(line)))
        if (last := _last_standing(history)) is not None:
            undo = session.tap(book.undo, last["table"], last["row_id"])
            st.button("Take the last correction back", key="undo_correction", **undo)
    seen = ("batches", row.batch, row.version)
    if standing:
        st.button("Mark this batch as deleted", key="delete", type="tertiary", **session.tap(book.delete, *seen))
    else:
        st.button("Bring this batch back", key="undelete", **session.tap(book.undelete, *seen))


def _correct(book, row):
    """One setting at a time: the old value stays in the history."""
    labels = {FIELDS[name].label: name for name in SETTINGS}
    name = labels[st.selectbox("Setting", list(labels), key="correct_name")]
    version = session.as_drawn(f"batch {row.batch}", row.version)
    with st.form(f"correct_form_{name}", border=False, clear_on_submit=True):
        now = report_words.value_text(name, getattr(row, name)) or "not noted"
        text = st.text_input(
            f"Now {report_words.plain(now)}; it should be", key=f"correct_{name}", help=FIELDS[name].meaning
        )
        if st.form_submit_button("Correct it", key=f"correct_send_{name}") and text.strip():
            try:
                book.correct_batch(row.batch, {name: parse_value(name, text)}, version)
            except BookError as refusal:
                raise BookError(f"{refusal}; it is {now} now, and you wrote {text.strip()}") from refusal
            st.rerun()


def _history(book, number):
    """Changes of the batch and of what belongs to it, newest first."""
    own = {"batches": [number], "runs": [book.row("batches", number)["run_id"]]}
    for table in ("dips", "rinses", "readings"):
        own[table] = [row["id"] for row in book.rows(table, batch_id=number)]
    changes = [line for table, ids in own.items() for key in ids if key for line in book.history(table, key)]
    return sorted(changes, key=lambda line: -line["id"])


def _last_standing(history):
    """The newest correction that has not been taken back, or None."""
    standing = {}
    for line in reversed(history):
        own = standing.setdefault((line["table"], line["row_id"]), [])
        if line["action"] == "undo":
            own.pop()
        else:
            own.append(line)
    tops = [own[-1] for own in standing.values() if own and own[-1]["action"] == "correct"]
    return max(tops, key=lambda line: line["id"], default=None)
