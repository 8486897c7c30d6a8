"""Shared set-up; where the environment promises a browser or a server, tests that need one may not skip."""

import os

import pytest


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    outcome = yield
    report = outcome.get_result()
    promised = os.environ.get("DYEBOOK_MUST_NOT_SKIP", "").split(",")
    broken = [name for name in promised if name and item.get_closest_marker(name)]
    if report.skipped and broken and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} skipped, but this environment promises {', '.join(broken)}: {report.longrepr}"
