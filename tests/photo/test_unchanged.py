"""The chain reads the shipped scenes as it did: a change of any reading, its error or its doubts is meant, and seen.

What it read stands in `tests/scenes/readings.json`; it says nothing of how right that is, which `tests.bench.worlds`
measures. Whoever changes the chain and finds it better there renews it by `python -m tests.bench.pictures readings`.
"""

import json

import pytest

from tests.bench.pictures import READINGS, learned_chart, read_scene

SAME = 0.05  # ΔE, and units of L*, a*, b* in the errors: other processors round otherwise
SAME_PX = 0.5
KEPT = json.loads(READINGS.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", [name for name in KEPT if name.endswith("chart")])
def test_a_shipped_chart_teaches_what_it_did(name):
    assert learned_chart(name) == pytest.approx(KEPT[name], abs=0.2)


@pytest.mark.parametrize("name", [name for name in KEPT if not name.endswith("chart")])
def test_a_shipped_scene_reads_as_it_did(name):
    then, now = KEPT[name], read_scene(name)
    assert now["card"] == pytest.approx(then["card"], abs=SAME_PX)
    assert len(now["boxes"]) == len(then["boxes"])
    for seen, was in zip(now["boxes"], then["boxes"], strict=True):
        assert seen == pytest.approx(was, abs=2)
    for seen, was in zip(now["parts"], then["parts"], strict=True):
        assert seen.pop("words") == was.pop("words")
        for what, values in was.items():
            assert seen[what] == pytest.approx(values, abs=SAME), what
