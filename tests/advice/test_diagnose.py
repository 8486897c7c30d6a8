"""Causes against the trade's defect logic, and the promises of the answer."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dyebook import Cause, diagnose, learn_bath
from dyebook.advice.causes import CAUSES, FLAW_KINDS, IDS, STATES, USUAL
from dyebook.advice.changes import CHANGES, simulate_changes
from dyebook.advice.diagnose import MOST_QUESTIONS, QUESTIONS, next_question
from dyebook.errors import RecordError
from dyebook.record import Flaw, Measurement, Reading
from dyebook.report import trouble as report_trouble

PALE = {"weak_bath", "cold_bath", "short_dwell"}


@pytest.fixture(scope="module")
def model(bath):
    return learn_bath(bath.records(12, np.random.default_rng(5)))


@pytest.fixture
def plan(bath):
    return {"film_um": float(bath.habit["film"]), "dye_g_per_l": 3.0, "bath_temp_c": float(bath.habit["bath_temp_c"]),
            "dwell_min": 4.0, "ph": 5.5}  # fmt: skip


@pytest.fixture
def dipped(bath, plan):
    """A record as planned, read from the bath's true colour with some settings truly otherwise."""

    def make(**truly):
        lab = bath.truth(pd.DataFrame([plan | truly]))[0]
        return plan | dict(zip("Lab", (float(v) for v in lab), strict=True))

    return make


def photo(lab, *flaws, uniformity=0.7):
    kinds = tuple(Flaw(kind, (0, 0, 9, 9), (), 8.0, 0.02) for kind in flaws)
    part = Reading(tuple(lab), (1, 1, 1), (0.8, 0.8, 0.8), uniformity=uniformity, flaws=kinds)
    return Measurement("part.jpg", (100, 100), "grey", None, (49.5, 0, 0), (part,))


def group(causes, ids):
    return sum(one.probability for one in causes if one.id in ids)


def log(level=2.0, minutes=40.0, step=None, climb=0.0):
    """An invented run at constant voltage: current, perhaps stepping down or running away at half time."""
    time = np.arange(0, minutes, 1 / 12)
    rng = np.random.default_rng(2)
    current = level * np.minimum(time / 1.5, 1) * (1 + rng.normal(0, 0.004, time.size))
    late = time > minutes / 2
    if step:
        current[late] *= step
    current *= np.exp(climb * np.maximum(time - minutes / 2, 0))
    return pd.DataFrame({"time_min": time, "current_a": current, "voltage_v": 15.0 * np.minimum(time / 1.5, 1)})


def test_rows_are_whole():
    """Shares add up, every cause has words, every answerable cause exists."""
    assert set(report_trouble.CAUSES) == set(CAUSES) == set(IDS)
    assert set(report_trouble.QUESTIONS) == set(QUESTIONS)
    for predicts in [USUAL, *(row.predicts for row in CAUSES.values())]:
        for kind, share in predicts.items():
            if kind in FLAW_KINDS:
                assert 0 < share <= 1
            elif kind == "colour":
                assert set(share) <= set(CHANGES)
                assert sum(share.values()) == pytest.approx(1)
            else:
                assert len(share) == len(STATES[kind])
                assert min(share) > 0
                assert sum(share) == pytest.approx(1)
    assert {cause for question in QUESTIONS.values() for cause in question.yes} <= set(IDS)


def test_changes_and_states_agree():
    assert tuple(CHANGES) == STATES["colour"]


def test_contract():
    causes = diagnose({})
    assert all(isinstance(one, Cause) for one in causes)
    assert sorted(one.id for one in causes) == sorted(IDS)
    assert sum(one.probability for one in causes) == pytest.approx(1)
    chances = [one.probability for one in causes]
    assert chances == sorted(chances, reverse=True)
    assert causes[0].id == "sound"


def test_a_dip_as_expected_is_sound(model, dipped):
    record = dipped()
    assert diagnose(record, model, photo([record[n] for n in "Lab"]))[0].id == "sound"


def test_pale_with_the_planned_film_is_the_bath_and_said_to_be_inseparable(model, dipped, plan):
    """Defect table: film right and pale means bath, temperature, dwell, pH or closed pores, not the run."""
    record = dipped(dye_g_per_l=0.6) | {"film_measured_um": plan["film_um"], "rinse_temp_c": 20.0}
    causes = diagnose(record, model)
    assert causes[0].id in PALE
    assert group(causes, {"thin_film", "contact_loss"}) < 0.1
    assert "Nothing at hand separates" in causes[0].because
    pale = [one.probability for one in causes if one.id in ("weak_bath", "cold_bath")]
    assert max(pale) < 3 * min(pale)


def test_thin_film_is_told_by_the_gauge(model, dipped, plan):
    """Defect table: film low and hue right means the run."""
    thin = 0.55 * plan["film_um"]
    record = dipped(film_um=thin) | {"film_measured_um": thin}
    causes = diagnose(record, model)
    assert causes[0].id in {"thin_film", "contact_loss"}
    assert group(causes, PALE) < 0.2


def test_steps_in_the_log_are_contact_and_climbs_are_burns(plan):
    """Defect table: a step down of current at constant voltage is a contact, a runaway a burn."""
    assert diagnose(plan, trace=log(step=0.6))[0].id == "contact_loss"
    assert diagnose(plan, trace=log(climb=0.09), measurement=photo((40, 10, -20), "pit"))[0].id == "burn"


def test_pits_without_a_log_say_both():
    pits = photo((40, 10, -20), "pit", uniformity=2.5)
    found = {one.id: one.probability for one in diagnose({}, measurement=pits)}
    assert min(found["pitting"], found["burn"]) > 2.5 * found["weak_bath"]
    with_log = {one.id: one.probability for one in diagnose({}, measurement=pits, trace=log())}
    assert with_log["burn"] < 0.5 * found["burn"]


@pytest.mark.parametrize(
    ("flaw", "wanted"),
    [
        ("streak", {"acid_bleed_out"}),
        ("gradient", {"uneven_run"}),
        ("two_tone", {"level_line"}),
        ("spot", {"surface_contamination", "gas_pocket"}),
        ("pale_zone", {"contact_loss", "gas_pocket"}),
    ],
)
def test_flaws(model, dipped, flaw, wanted):
    """Defect table: streak from a hole, gradient with the cathode, level edge, sharp spots, pale place at the clamp."""
    record = dipped()
    assert diagnose(record, model, photo([record[n] for n in "Lab"], flaw, uniformity=2.5))[0].id in wanted


def test_hue_far_off_is_another_dye_and_a_hot_rinse_closes_pores(model, dipped):
    record = dipped()
    lab = np.array([record[n] for n in "Lab"])
    turned = record | {"L": lab[0], "a": -lab[1] + 10, "b": -lab[2] + 15}
    assert diagnose(turned, model)[0].id == "wrong_dye"
    pale = dipped(dye_g_per_l=0.7) | {"rinse_temp_c": 70.0, "film_measured_um": record["film_um"]}
    assert diagnose(pale, model)[0].id == "early_seal"


def test_standing_between_rinse_and_dye_closes_pores(model, dipped):
    """D-14 and D-10: film takes less dye the longer it stands; dyed at once out of a cool rinse, look elsewhere."""
    pale = dipped(dye_g_per_l=0.7)
    pale |= {"rinse_temp_c": 15.0, "film_measured_um": pale["film_um"]}
    found = {wait: diagnose(pale | {"wait_min": wait}, model) for wait in (2.0, 30.0, 300.0)}
    chances = [next(one.probability for one in found[wait] if one.id == "early_seal") for wait in (2.0, 30.0, 300.0)]
    assert 3 * chances[0] < chances[1] < chances[2] / 3
    assert found[300.0][0].id == "early_seal"
    assert "waited 300 min" in found[300.0][0].because


def test_seal_faults_need_a_seal(model, dipped):
    record = dipped(dye_g_per_l=1.2) | {"sealed": False}
    assert group(diagnose(record, model), {"seal_bleed", "seal_bloom"}) < 0.02


def test_a_photo_alone_and_its_dict_agree(model, dipped):
    record = dipped()
    seen = photo([record[n] for n in "Lab"], "spot")
    assert diagnose(record, model, seen) == diagnose(pd.Series(record), model, seen.to_dict())


def test_a_flaw_without_size_is_a_flaw():
    bare = {"parts": [{"lab": [40, 10, -20], "flaws": [{"kind": "two_tone"}]}]}
    assert diagnose({}, measurement=bare)[0].id == "level_line"


def test_one_pale_part_among_alike_ones_is_a_contact():
    parts = photo((40, 10, -20)).parts * 3
    parts = (*parts, replace(parts[0], lab=(55, 6, -12)))
    found = diagnose({}, measurement=Measurement("p", (9, 9), "grey", None, (50, 0, 0), parts))
    assert found[0].id == "contact_loss"
    assert "part 4" in found[0].because


def test_questions_separate_what_evidence_cannot(model, dipped, plan):
    """Asked up to five questions and answered truly, a cold bath is named."""
    record = dipped(bath_temp_c=plan["bath_temp_c"] - 18) | {"film_measured_um": plan["film_um"]}
    answers, truth = {}, "cold_bath"
    while True:
        causes = diagnose(record, model, answers=answers)
        name = next_question({one.id: one.probability for one in causes}, {"film"}, answers)
        if name is None:
            break
        answers[name] = QUESTIONS[name].yes.get(truth, 0) > 0.5
    assert 1 <= len(answers) <= MOST_QUESTIONS
    assert causes[0].id == truth
    with pytest.raises(RecordError, match="unknown questions"):
        diagnose({}, answers={"moon": True})


def test_remedies_are_careful():
    """Whoever touches a contact reads of the supply first; strips are for specialists; nothing goes down a drain."""
    for one in diagnose({}):
        text = one.remedy.lower()
        if re.search(r"contact|clamp|lift|hang", text) and one.id in (
            "contact_loss",
            "burn",
            "gas_pocket",
            "uneven_run",
        ):
            assert "supply off before touching" in text
        if "strip" in text:
            assert "specialist" in text or "stay after" in text
        assert "data sheets" in one.caution
        assert not re.search(r"(pour|drain|sewer)", text)
        assert not re.search(r"\d\s*(g/l|ml|%)", text), "no recipe"


def test_impossible_figures_are_refused():
    with pytest.raises(RecordError, match="film"):
        diagnose({"film_um": -3})


def test_a_row_of_a_table_is_a_record_in_any_form(model, dipped):
    record = dipped(dwell_min=2.0)
    table = pd.DataFrame([record]).convert_dtypes().assign(alloy=pd.NA, film_measured_um=pd.NA, sealed=pd.NA)
    plain = [(cause.id, cause.probability) for cause in diagnose(record, model)]
    for row in (table, table.iloc[0], table.iloc[0].to_dict()):
        assert [(cause.id, cause.probability) for cause in diagnose(row, model)] == plain


@pytest.mark.parametrize("record", [pd.DataFrame({"L": [40, 41]}), [40, 1, 2], 40])
def test_what_is_no_record_is_refused_in_words(record):
    with pytest.raises(RecordError, match="record is a"):
        diagnose(record)


def test_a_thin_film_that_nobody_gauged_leads_to_the_gauge(baths):
    """Neither gauge nor charge, and no pH: film, bath and dwell all only look pale; the gauge parts run from bath."""
    bath = baths.TUNING[1].bath(777)  # a bath in which film counts; short dips of some hardly feel it
    model = learn_bath(bath.records(24, np.random.default_rng(8)))
    plan = {"film_um": 10.0, "dye_g_per_l": 3.0, "bath_temp_c": bath.habit["bath_temp_c"], "dwell_min": 5.0}
    lab = bath.truth(pd.DataFrame([plan | {"film_um": 5.0, "ph": 5.5}]))[0]
    record = plan | dict(zip("Lab", map(float, lab), strict=True))
    causes = diagnose(record, model)
    assert causes[0].probability < 0.5
    assert "Nothing at hand separates" in causes[0].because
    assert "gauge the film" in causes[0].next_test
    bath_side = PALE | {"early_seal", "ph_off", "seal_bleed"}
    for gauged, wanted in ((5.0, {"thin_film", "contact_loss"}), (10.0, bath_side)):
        found = diagnose(record | {"film_measured_um": gauged}, model)
        assert found[0].id in wanted
        assert "gauge the film" not in found[0].next_test


def test_a_colour_beyond_all_plays_is_another_dye_and_never_sound(model, dipped):
    far = dipped() | {"L": 70.0, "a": -60.0, "b": 80.0}
    found = diagnose(far, model)
    assert found[0].id == "wrong_dye"
    assert next(one.probability for one in found if one.id == "sound") < 0.05


def _read_as(lab, setup, **sizes):
    """A photo whose one part was read in a set-up, with the standard uncertainties of the parts of its error."""
    parts = {name: (np.eye(3) * sizes.get(name, 0.3) ** 2).tolist() for name in ("camera", "shape", "photo", "own")}
    u = [float(np.sqrt(sum(np.trace(cov) / 3 for cov in map(np.array, parts.values()))))] * 3
    part = {"lab": list(lab), "lab_u": u, "lab_cov_parts": parts, "setup": {"key": setup}, "flaws": [], "flags": []}
    return {"parts": [part], "flags": []}


def test_a_reading_in_doubt_says_little(model, dipped):
    """What the photo's reading says of its error counts, whether the record repeats the colour or not."""
    off = dipped(dwell_min=1.0)
    bare = {name: value for name, value in off.items() if name not in "Lab"}
    lab = [off[axis] for axis in "Lab"]
    for record in (off, bare):
        sound = [group(diagnose(record, model, _read_as(lab, "here", photo=u)), {"sound"}) for u in (0.5, 2.0, 5.0)]
        assert sound[0] < sound[1] < sound[2]
    assert sound[2] > 2 * sound[0]


def test_what_a_set_up_gets_wrong_counts_only_elsewhere(bath, dipped):
    """The bath was learned in the same set-up, so that its camera's error is in both and cancels."""
    records = bath.records(20, np.random.default_rng(5)).assign(setup="here")
    model, off = learn_bath(records), dipped(dwell_min=1.5)
    lab = [off[axis] for axis in "Lab"]
    here, there = (
        group(diagnose(off, model, _read_as(lab, name, camera=6.0)), {"sound"}) for name in ("here", "there")
    )
    assert there > 3 * here
    sds, totals = dict.fromkeys(("L_sd", "a_sd", "b_sd"), 0.5), dict.fromkeys(("L_u", "a_u", "b_u"), 6.0)
    noted = [off | sds | totals | {"setup": name} for name in ("here", "there")]
    here, there = (group(diagnose(one, model), {"sound"}) for one in noted)
    assert there > 3 * here


def test_a_ph_that_was_not_noted_may_be_the_reason_of_small_moves(model, plan):
    noted, unknown = (simulate_changes(model, plan | {"ph": ph})["as set"] for ph in (5.5, np.nan))
    assert unknown.std(axis=0).sum() > noted.std(axis=0).sum()


def test_the_area_is_asked_for_where_a_film_is_thin(plan):
    """A wrong area is the commonest reason of a thin film whose run went as planned; common practice, no source."""
    thin = plan | {"film_measured_um": 0.6 * plan["film_um"]}
    causes = diagnose(thin, answers={"clock": False})
    assert causes[0].id == "thin_film"
    chances = {one.id: one.probability for one in causes}
    asked = [next_question(chances, {"film"})]
    while asked[-1] is not None and asked[-1] != "area":
        asked.append(next_question(chances, {"film"}, dict.fromkeys(asked, False)))
    assert "area" in asked


def test_tests_suit_the_part(model, dipped, plan):
    """Nobody dips a sound part or a sealed one again, or reads a thermometer anew that was noted cold."""
    for sealed in (None, True):
        pale = dipped(dwell_min=1.0) | {"sealed": sealed, "film_measured_um": plan["film_um"]}
        assert ("second dip" in diagnose(pale, model)[0].next_test) <= (sealed is not True)
    sound = dipped() | {"film_measured_um": plan["film_um"]}
    answer = diagnose(sound, model, photo([sound[n] for n in "Lab"]))[0]
    assert answer.id == "sound"
    assert "second dip" not in answer.next_test
    cold = plan["bath_temp_c"] - 20
    noted = dipped(bath_temp_c=cold) | {"bath_temp_c": cold}
    assert diagnose(noted, model)[0].id == "cold_bath"
    assert "thermometer" not in diagnose(noted, model)[0].next_test


def test_pits_without_a_log_are_said_to_leave_a_burn_open():
    pits = photo((40, 10, -20), "pit", uniformity=2.5)
    assert "without the run's log both stay possible" in diagnose({}, measurement=pits)[0].because
    assert "both stay possible" not in diagnose({}, measurement=pits, trace=log())[0].because
