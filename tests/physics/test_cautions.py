"""What the bench says about danger: nothing goes down a drain, nobody touches a live contact."""

import re

import pytest

from dyebook.errors import RecordError
from dyebook.physics.answer import cautions_for
from dyebook.physics.sealing import PREPARATION, plan_seal, wet_steps
from dyebook.physics.trace.events import EVENT_KINDS
from dyebook.report.bench import CAUTIONS, EVENT_REMEDIES

DRAIN = re.compile(r"\b(drain|sewer|sink|gully|ditch|soil)\b", re.IGNORECASE)
ADVICE = re.compile(r"\b(pour|tip|flush|empty|dump|rinse)\b[^.;]*\b(drain|sewer|sink|gully|soil|down)\b", re.IGNORECASE)
FORBIDS = re.compile(r"\b(never|not|no)\b[^.;]*$", re.IGNORECASE)

TEXTS = [*CAUTIONS.values(), *EVENT_REMEDIES.values(), *(f"{step.what}" for step in (*PREPARATION, *wet_steps(10, 5)))]


@pytest.mark.parametrize("text", TEXTS)
def test_no_text_advises_the_drain(text):
    for match in DRAIN.finditer(text):
        assert FORBIDS.search(text[: match.start()]), text
    for match in ADVICE.finditer(text):
        assert FORBIDS.search(text[: match.start()]), text


def test_the_drain_test_can_fail():
    bad = "Neutralise the acid, then pour it into the drain."
    match = DRAIN.search(bad)
    assert not FORBIDS.search(bad[: match.start()])


@pytest.mark.parametrize("kind", ["contact_lost", "intermittent_contact", "short", "runaway", "power_break"])
def test_every_contact_remedy_begins_with_the_supply(kind):
    assert EVENT_REMEDIES[kind].lower().startswith("supply off")


@pytest.mark.parametrize("text", [text for text in EVENT_REMEDIES.values() if re.search("contact|clamp", text)])
def test_supply_comes_before_contact(text):
    assert text.lower().index("supply off") < min(
        text.lower().index(word) for word in ("contact", "clamp") if word in text.lower()
    )


def test_every_event_has_a_remedy():
    assert set(EVENT_REMEDIES) == set(EVENT_KINDS)


def test_general_caution_closes_every_list():
    assert cautions_for("acid_into_water")[-1] == CAUTIONS["general"]
    for word in ("safety data sheets", "local codes", "licensed"):
        assert word in CAUTIONS["general"]


def test_mains_is_for_the_qualified():
    assert "qualified" in CAUTIONS["mains"]


def test_what_is_never_left_unsaid():
    """Hazards by name: sulphuric acid, nickel as a cause of cancer and sensitiser, fluoride, trapped acid."""
    assert "Sulphuric acid" in CAUTIONS["acid_into_water"]
    assert all(word in CAUTIONS["nickel"] for word in ("cancer", "sensitise"))
    assert "hydrogen fluoride" in CAUTIONS["fluoride"]
    assert "neutralise" in CAUTIONS["trapped_acid"]
    bores = next(step for step in wet_steps(10, 5) if step.name == "bores")
    assert "cold" in bores.what
    assert "warm" not in bores.what


def test_a_mid_temperature_seal_is_taken_as_nickel_until_its_sheet_names_none():
    """Such seals hold nickel, magnesium, lithium and others (Metal Finishing Guidebook 2012-13, p. 484)."""
    nickel = CAUTIONS["nickel"]
    assert nickel in plan_seal(10, "mid_temperature").cautions
    assert CAUTIONS["nickel_skin"] in plan_seal(10, "mid_temperature", skin_or_food=True).cautions
    assert nickel not in plan_seal(10, "mid_temperature", no_nickel=True).cautions
    assert CAUTIONS["nickel_skin"] not in plan_seal(10, "mid_temperature", skin_or_food=True, no_nickel=True).cautions
    assert CAUTIONS["fluoride"] in plan_seal(10, "cold_nickel").cautions
    with pytest.raises(RecordError, match="holds nickel by its name"):
        plan_seal(10, "cold_nickel", no_nickel=True)
