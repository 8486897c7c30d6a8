"""Shared set-up; where the environment promises a browser or a server, tests that need one may not skip."""

import importlib.util
import os
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def worlds():
    """The simulated baths of the bench."""
    if "worlds" not in sys.modules:
        path = Path(__file__).parent / "bench" / "worlds.py"
        spec = importlib.util.spec_from_file_location("worlds", path)
        sys.modules["worlds"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["worlds"])
    return sys.modules["worlds"]


@pytest.fixture(scope="session")
def bath(worlds):
    """One simulated bath, for the tests of model and advice."""
    return worlds.TUNING[0].bath(3)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    outcome = yield
    report = outcome.get_result()
    promised = os.environ.get("DYEBOOK_MUST_NOT_SKIP", "").split(",")
    broken = [name for name in promised if name and item.get_closest_marker(name)]
    if report.skipped and broken and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} skipped, but this environment promises {', '.join(broken)}: {report.longrepr}"
