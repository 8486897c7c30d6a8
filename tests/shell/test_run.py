"""Runs, gauge readings, dye baths and electrolytes in the shell: what the app does, the shell does."""

import json
import os

import pytest
from typer.testing import CliRunner

from dyebook.book.store import open_book
from dyebook.errors import RecordError
from dyebook.shell.main import app


@pytest.fixture
def shell(tmp_path, monkeypatch):
    monkeypatch.setenv("DYEBOOK_BOOK", str(tmp_path / "shop.dyebook"))

    def call(*words, as_json=True):
        arguments = [str(word) for word in words] + (["--json"] if as_json else [])
        result = CliRunner().invoke(app, arguments)
        if result.exception and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code == 0, result.output
        return json.loads(result.stdout) if as_json else result.stdout

    return call


def test_a_run_from_plan_to_batch(shell):
    density = ("--current-density-a-per-dm2", "14 asf")
    plan = shell(
        "run", "plan", "--area-dm2", "31 in2", "--film-um", "0.5 mil", *density, "--supply-max-a", 2.5, "--parts", 6
    )
    assert plan["run"] == 1
    assert plan["current_a"] == 2.5
    assert any("stops at 2.5 A" in note for note in plan["notes"])
    assert any("1.20 times the film" in note for note in plan["notes"])
    assert shell("run", "tick", 1, "water-break-test", "--fails")["not_prepared"][1] == "water_break_test"
    assert shell("run", "tick", 1, "water-break-test")["prepared"] == ["water_break_test"]
    assert shell("run", "start", 1, "--current-a", 2.4)["state"] == "on"
    assert shell("run", "note", 1, 2.5)["current_a"] == 2.5
    assert shell("run", "pause", 1)["state"] == "paused"
    assert [one["state"] for one in shell("run", "list", "--open")] == ["paused"]
    stand = shell("run", "resume", 1)
    assert (stand["state"], stand["current_a"]) == ("on", 2.5)
    assert stand["basis"]
    assert any("Supply off" in text for text in stand["cautions"])
    with pytest.raises(RecordError, match="only just begun"):
        shell("run", "end", 1)
    assert "run    1  on" in shell("run", "list", as_json=False)
    assert shell("run", "drop", 1) == {"run": 1, "dropped": True}
    assert shell("run", "list") == []


@pytest.fixture
def anodised(shell, tmp_path):
    """A shell whose book has one finished run."""
    from datetime import timedelta

    from dyebook.book.store import open_book
    from dyebook.jobs import run

    start = run.this_moment() - timedelta(minutes=60)
    with open_book(tmp_path / "shop.dyebook") as book:
        book.add("orders", name="Ear studs", skin_contact=True)
        number = run.plan_run(book, area_dm2=2.0, current_a=3.0, film_um=12.0, minutes=24.4, order="Ear studs")
        run.start_run(book, number, at=start)
        run.finish_run(book, number, start + timedelta(minutes=24.4))
    return shell


def test_gauge_readings_teach_the_growth_rate(anodised):
    taught = anodised("run", "gauge", 1, 11.2, 11.4, "0.44 mil")
    assert taught["readings"] == 1
    assert taught["film_measured_um"] == pytest.approx((11.2 + 11.4 + 11.176) / 3)
    assert anodised("growth")["um_per_a_min_dm2"] == taught["um_per_a_min_dm2"]
    with pytest.raises(RecordError, match="unphysical"):
        anodised("run", "gauge", 1, 40)


def test_steps_seal_and_batch_with_the_orders_flag(anodised):
    anodised("run", "step", 1, "dye")
    assert anodised("run", "step", 1, "dye", "--out")["minutes"] is not None
    dip = ("--dye", "Ember", "--bath", "E1", "--dye-g-per-l", 3, "--bath-temp-c", "122 °F", "--dwell-min", "5:30")
    sealed = ("--seal", "nickel_acetate", "--seal-temp-c", 90, "--seal-min", 18)
    with pytest.raises(RecordError, match=r"worn on the skin.*choose hot water"):
        anodised("run", "dyed", 1, *dip, "--wait-min", "0:45", *sealed)
    kept = anodised("run", "dyed", 1, *dip, "--wait-min", "0:45", *sealed, "--why", "release tested")
    assert kept["batch"] == 1
    assert any("Choose a nickel-free seal" in text for text in kept["seal"]["cautions"])
    assert anodised("run", "show", 1)["batch"] == 1
    assert (anodised("list")[0]["dwell_min"], anodised("list")[0]["wait_min"]) == (5.5, 0.75)


def test_a_seal_is_flagged_by_its_order(anodised):
    plain = anodised("seal", "--film-um", 12, "--kind", "nickel_acetate")
    flagged = anodised("seal", "--film-um", 12, "--kind", "nickel_acetate", "--order", "Ear studs")
    assert not any("nickel-free" in text for text in plain["cautions"])
    assert any("nickel-free" in text for text in flagged["cautions"])


def test_the_life_of_a_dye_bath(shell):
    shell("bath", "note", "Ember, E1", "made-up", "--dye-g-per-l", 3, "--bath-volume-l", 2, "--at", "2026-03-01")
    shell("bath", "rules", "Ember", "--ph", "5,6", "--tank-area-dm2", 1.5)
    answer = shell("bath", "note", "E1", "ph-moved", "--ph", 4.2)
    assert answer["problems"] == ["bath pH 4.2 is below what this dye is kept at, 5–6"]
    shell("bath", "note", "E1", "measured", "--dye-g-per-l", 2.5)
    state = shell("bath", "show", "E1")
    assert [point["kind"] for point in state["points"]][:2] == ["made_up", "measured"]
    assert shell("bath", "top-up", "E1")["dye_g"] == pytest.approx(1.0, abs=0.01)
    shell("bath", "top-up", "E1", "--keep")
    assert shell("bath", "list")[0]["strength_g_per_l"] == pytest.approx(3, abs=0.01)
    level = shell("bath", "level", "E1", "--part-height-mm", 120)
    assert not level["covers"]
    shell("bath", "note", "E1", "thrown-out")
    assert shell("bath", "list") == []


def test_the_life_of_an_electrolyte(shell):
    shell("tank", "note", "Tank", "made-up", "--electrolyte-g-per-l", 165, "--bath-volume-l", 2)
    shell("tank", "note", "Tank", "titrated", "--electrolyte-g-per-l", 160, "--dissolved-al-g-per-l", 2)
    assert shell("tank", "list")[0]["electrolyte"] == "Tank"
    assert shell("tank", "life", "Tank", "--discard-ah-per-l", 50)["left_ah"] == pytest.approx(100)


def test_a_titration_fills_the_electrolytes_event_and_a_lot_is_listed(shell):
    """16.8 mL of 1 mol/L on 5 mL are 16.8 / 5 x 98.079 / 2 g/L of acid; 3.3 mL more, x 26.982 / 3 of aluminium."""
    shell("tank", "note", "Tank", "made-up", "--electrolyte-g-per-l", 165, "--bath-volume-l", 2)
    shell("tank", "note", "Tank", "titrated", "--sample-ml", 5, "--free-ml", 16.8, "--total-ml", 20.1)
    with open_book(os.environ["DYEBOOK_BOOK"]) as book:
        event = book.rows("electrolyte_events", kind="titrated")[0]
    assert event["electrolyte_g_per_l"] == pytest.approx(164.77, abs=0.01)
    assert event["dissolved_al_g_per_l"] == pytest.approx(5.936, abs=0.001)
    assert shell("lot", "sulphuric acid", "S77", "--opened-on", "2026-03-02") == [
        {"product": "sulphuric acid", "lot": "S77", "opened_on": "2026-03-02"}
    ]


def test_lot_place_contact_and_seal_test_of_a_part_go_from_the_shell_to_its_card(shell, tmp_path):
    dip = ("--dye", "Ember", "--film-um", 12, "--dye-g-per-l", 3, "--bath-temp-c", 50, "--dwell-min", 6)
    told = {"dye-lot": "L2231", "jig-place": "row 2 left", "contact-marks": "inside of the rim", "seal-stain": "1"}
    number = shell("record", *dip, *(word for name, text in told.items() for word in (f"--{name}", text)))["batch"]
    shell("correct", number, "contact_marks=the bore", as_json=False)
    shell("card", number, tmp_path / "card.html", as_json=False)
    card = (tmp_path / "card.html").read_text(encoding="utf-8")
    for words in ("L2231", "row 2 left", "the bore", "seal test stain"):
        assert words in card
