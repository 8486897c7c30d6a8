"""Work beside the page: remembered, shared, stopped between stages, taken up again; in a browser, Stop is pressed."""

import re
import shutil
import threading

import pytest
from streamlit.testing.v1 import AppTest

from dyebook.errors import ModelError
from dyebook.screens import tasks
from tests.screens.browsing import open_context, settle, type_in
from tests.screens.conftest import ServedApp

# a stage that a test waits for is over in no time, or the test has failed
PATIENCE_S = 10

# the app with baths that take a while each to learn
_SLOW_BATHS = """
from dyebook.screens import apart
apart._PROGRAM = '''
import time
from dyebook.advice import learn
quick, sure = learn.learn_bath, learn.suggest_settings
learn.learn_bath = lambda dips: (time.sleep(0.7), quick(dips))[1]
learn.suggest_settings = lambda *asked, **how: (time.sleep(0.7), sure(*asked, **how))[1]
''' + apart._PROGRAM
from dyebook.shell.main import main
main()
"""


class Gate:
    """Work of three stages that waits before each until it is let on."""

    def __init__(self):
        self.begun, self.may = [threading.Event() for _ in range(3)], [threading.Event() for _ in range(3)]
        self.runs = 0

    def __call__(self, job):
        self.runs += 1
        for stage, (begun, may) in enumerate(zip(self.begun, self.may, strict=True)):
            job(f"Stage {stage}", f"{stage} of 3 are kept.")
            begun.set()
            assert may.wait(PATIENCE_S)
        return "all three"


@pytest.fixture
def store():
    return tasks._Store()


def _job(store, one, most=60):
    return store.job(("gate", 1), "Going through gates", one, most)


def test_the_same_work_is_done_once_and_shared(store):
    gate = Gate()
    for may in gate.may:
        may.set()
    first, second = _job(store, gate), _job(store, gate)
    assert first is second
    assert first.future.result(PATIENCE_S) == "all three"
    assert gate.runs == 1


def test_a_stop_ends_work_at_its_next_stage_and_says_what_is_kept(store):
    gate = Gate()
    job = _job(store, gate)
    assert gate.begun[0].wait(PATIENCE_S)
    job.stop()
    gate.may[0].set()
    with pytest.raises(tasks.StoppedError) as stopped:
        job.future.result(PATIENCE_S)
    assert stopped.value.job.words == "Stage 1"
    assert stopped.value.job.kept == "1 of 3 are kept."
    assert not gate.begun[1].is_set()


def test_a_stop_taken_back_in_time_changes_nothing(store):
    gate = Gate()
    job = _job(store, gate)
    assert gate.begun[0].wait(PATIENCE_S)
    job.stop()
    assert _job(store, gate) is job
    job.go_on()
    for may in gate.may:
        may.set()
    assert job.future.result(PATIENCE_S) == "all three"


def test_stopped_and_failed_work_begins_anew_when_it_is_wanted_again(store):
    tries = []

    def fail(job):
        tries.append(job)
        raise ModelError("too few dips")

    for _ in range(2):
        with pytest.raises(ModelError):
            _job(store, fail).future.result(PATIENCE_S)
    assert len(tries) == 2


def test_the_oldest_answers_go_first(store):
    for number in range(5):
        store.job(("count", number), "Counting", lambda _: None, 3).future.result(PATIENCE_S)
    assert [key for _, key in store._kinds["count"]] == [2, 3, 4]


def _page():
    import streamlit as st

    from dyebook.screens import session, tasks

    def count(_):
        st.session_state_of_the_test.append(1)
        return len(st.session_state_of_the_test)

    pressed = st.button("Do it", key="do_it")
    with session.friendly_errors():
        answer = tasks.done_once("count", pressed, "Doing it", count)
        if answer is not None:
            st.markdown(f"done {answer}")


def test_work_is_done_once_a_press_and_not_again_on_the_next_run(monkeypatch):
    import streamlit as st

    monkeypatch.setattr(st, "session_state_of_the_test", [], raising=False)
    page = AppTest.from_function(_page).run()
    assert not page.markdown
    page.button(key="do_it").click().run()
    assert page.markdown[0].value == "done 1"
    page.run()
    assert not page.markdown
    page.button(key="do_it").click().run()
    assert page.markdown[0].value == "done 2"


@pytest.fixture
def slow_app(demo_place, tmp_path):
    """The app with baths that take their time, none of them learned yet."""
    app = ServedApp(tmp_path, shutil.copytree(demo_place, tmp_path / "shop.dyebook"), ("-c", _SLOW_BATHS))
    app.start()
    yield app
    app.stop()


@pytest.mark.browser
@pytest.mark.parametrize("size", ["desk", "phone"])
def test_stop_ends_the_asking_of_baths_and_leaves_what_was_typed(chromium, slow_app, size):
    page = open_context(chromium, size)
    page.set_default_timeout(60_000)
    page.goto(f"{slow_app.address}/shade")
    page.get_by_role("textbox", name="Film, µm", exact=True).wait_for()
    settle(page)
    type_in(page, "Film, µm", "11")
    colour = page.get_by_role("textbox", name="Colour", exact=True)
    colour.fill("41, 20, 11")
    colour.press("Enter")
    # how strong the baths are has taught them already, or has not
    page.get_by_text(re.compile("Learning|Asking")).first.wait_for()
    page.get_by_role("button", name="Stop").click()
    page.get_by_text("Stopped:").wait_for()
    settle(page)
    assert colour.input_value() == "41, 20, 11"
    assert page.get_by_role("textbox", name="Film, µm", exact=True).input_value() == "11"
    assert not page.get_by_role("heading", name="Which bath first").is_visible()
    if size == "phone":
        page.get_by_role("button", name="Go on").click()
    else:
        # another question is another piece of work
        type_in(page, "My bath is at, °C", "50")
    page.get_by_role("heading", name="Which bath first").wait_for()
    page.context.close()
    assert not page.faults
