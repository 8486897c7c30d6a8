"""Shared set-up; where the environment promises a browser or a server, tests that need one may not skip."""

import hashlib
import os
import pickle

import hypothesis
import pytest

# an example may take as long as it likes: a busy machine must not fail the suite
hypothesis.settings.register_profile("dyebook", deadline=None)
hypothesis.settings.load_profile("dyebook")
# tests run side by side: more threads to a matrix product would only wait for each other; set before numpy is loaded
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@pytest.fixture(scope="session")
def baths():
    """The simulated baths of the bench."""
    from tests.bench import baths

    return baths


@pytest.fixture(scope="session")
def bath(baths):
    """One simulated bath, for the tests of model and advice."""
    return baths.TUNING[0].bath(3)


@pytest.fixture(scope="session")
def learn_once():
    """`learn_model`, which learns the same records once a process: most books of the tests hold the same dips."""
    from dyebook.model.predict import learn_model

    kept = {}

    def learn(records, *more):
        key = hashlib.sha256(pickle.dumps((records.to_dict("list"), more))).hexdigest()
        if key not in kept:
            kept[key] = learn_model(records, *more)
        return kept[key]

    return learn


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    outcome = yield
    report = outcome.get_result()
    promised = os.environ.get("DYEBOOK_MUST_NOT_SKIP", "").split(",")
    broken = [name for name in promised if name and item.get_closest_marker(name)]
    if report.skipped and broken and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} skipped, but this environment promises {', '.join(broken)}: {report.longrepr}"


@pytest.fixture(autouse=True)
def no_book_stays_named():
    """What a command names by --book is the next test's no more."""
    before = os.environ.get("DYEBOOK_BOOK")
    yield
    if before is None:
        os.environ.pop("DYEBOOK_BOOK", None)
    else:
        os.environ["DYEBOOK_BOOK"] = before
