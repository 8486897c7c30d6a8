"""Simulated baths from the bench, for the tests of the model."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def worlds():
    if "worlds" not in sys.modules:
        path = Path(__file__).parents[1] / "bench" / "worlds.py"
        spec = importlib.util.spec_from_file_location("worlds", path)
        sys.modules["worlds"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["worlds"])
    return sys.modules["worlds"]


@pytest.fixture(scope="session")
def bath(worlds):
    return worlds.TUNING[0].bath(3)
