"""Verdict, why and drift as a shell sees them."""

import json
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from dyebook.book.coupons import keep_check_day
from dyebook.book.setups import keep_twin
from dyebook.book.store import open_book
from dyebook.record import DyeRecord
from dyebook.shell.main import app

SHELL = CliRunner()


def run(*arguments, **options):
    return SHELL.invoke(app, [str(argument) for argument in arguments], **options)


@pytest.fixture
def dips(tmp_path):
    """Thirty dips of an invented red whose bath fades from the sixteenth on."""
    rng = np.random.default_rng(4)
    dwell = rng.choice([2.0, 4.0, 6.0], 30)
    fade = np.exp(-0.05 * np.maximum(np.arange(30) - 15, 0))
    load = np.sqrt(dwell) * fade
    table = pd.DataFrame({"film_um": 12, "dye_g_per_l": 3, "bath_temp_c": 40, "dwell_min": dwell, "ph": 5.5})
    table = table.assign(L=88 - 8 * load, a=14 * load, b=-2 + 0.3 * load)
    table[["L", "a", "b"]] += rng.normal(0, 0.4, (30, 3))
    path = tmp_path / "dips.csv"
    table.to_csv(path, index=False)
    return path


def test_verdict():
    found = run("verdict", "--target", "45,20,-35", "--reading", "52,19,-33", "--tolerance", "2", "--json")
    assert found.exit_code == 0, found.output
    assert json.loads(found.stdout)["verdict"] == "out"
    text = run(
        "verdict", "--target", "45,20,-35", "--reading", "45.4,20,-35", "--together", "--target-u", "1,1,1"
    ).stdout
    assert text.startswith("Matches: ")
    apart = run(
        "verdict", "--target", "45,20,-35", "--reading", "45.4,20,-35", "--target-u", "2,2,2", "--reading-u", "2,2,2"
    )
    assert apart.stdout.startswith("Cannot tell: ")
    assert "or more" in apart.stdout
    assert run("verdict", "--target", "45,20", "--reading", "1,2,3").exit_code == 2


def test_why_asks_and_answers(tmp_path):
    batch = tmp_path / "batch.csv"
    batch.write_text("film_um,film_measured_um,rinse_temp_c\n12,6.5,20\n", encoding="utf-8")
    found = run("why", batch, "--json")
    assert found.exit_code == 0, found.output
    causes = json.loads(found.stdout)
    assert causes[0]["id"] in ("thin_film", "contact_loss")
    assert sum(one["probability"] for one in causes) == pytest.approx(1, abs=0.01)
    asked = run("why", batch, "--ask", input="y\n" * 6)
    assert asked.exit_code == 0, asked.output
    assert "next:" in asked.stdout or "%" in asked.stdout


def test_drift_finds_the_fading_bath(dips):
    found = run("drift", dips, "--baseline", "14", "--bath-volume-l", "2", "--dye-g-per-l", "3", "--json")
    assert found.exit_code == 0, found.output
    drift = json.loads(found.stdout)
    assert drift["cause"] == "unclear"
    assert 11 <= int(drift["since"]) <= 24
    assert "lighter" in drift["why"]


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    from dyebook.book.store import open_book
    from dyebook.demo.shop import fill_book

    place = tmp_path_factory.mktemp("shop") / "shop.dyebook"
    with open_book(place) as book:
        fill_book(book)
    return place


def test_the_book_is_asked_by_numbers_and_names(shop):
    causes = json.loads(run("why", "--batch", 52, "--book", shop, "--json").stdout)
    assert causes[0]["id"] == "contact_loss"
    asked = run("why", "--batch", 85, "--book", shop, "--ask", input="n\n" * 6)
    assert asked.exit_code == 0, asked.output
    assert json.loads(run("drift", "--bath", "E1", "--book", shop, "--json").stdout)["top_up_g"] > 0.5
    assert json.loads(run("verdict", "--batch", 52, "--book", shop, "--json").stdout)["verdict"] == "out"
    assert run("verdict", "--batch", 3, "--target", "31,45,-48", "--book", shop).exit_code == 0


def test_either_a_file_or_the_book():
    assert run("why").exit_code == 2
    assert run("drift").exit_code == 2
    assert run("verdict", "--target", "1,2,3").exit_code == 2
    assert run("verdict", "--reading", "1,2,3").exit_code == 2


def test_the_common_caution_is_told_once(tmp_path):
    batch = tmp_path / "batch.csv"
    batch.write_text("film_um,film_measured_um\n12,6.5\n", encoding="utf-8")
    text = run("why", batch).stdout
    assert text.count("General information, not a procedure.") == 1
    assert text.count("Supply off") >= 2
    batch.write_text("film_um\n12\n", encoding="utf-8")
    assert run("why", batch).stdout.startswith("No cause stands out")


def test_a_slip_in_a_heading_is_told(tmp_path):
    batch = tmp_path / "batch.csv"
    batch.write_text("film_um,wait min\n12,120\n", encoding="utf-8")
    answer = run("why", batch)
    assert "columns wait min" in answer.stderr
    assert "wait_min" in answer.stderr
    batch.write_text("film_um,wait_min\n12,120\n", encoding="utf-8")
    answer = run("why", batch)
    assert answer.stderr == ""
    assert "pores closed before the dye" in answer.stdout


def test_saved_measurements_are_judged_by_the_parts_of_their_errors(tmp_path):
    photo = Path(__file__).parents[2] / "samples" / "tags_one_streaked.jpg"
    saved = tmp_path / "seen.json"
    saved.write_text(run("measure", photo, "--no-flaws", "--json").stdout, encoding="utf-8")
    parts = json.loads(saved.read_text())["parts"]
    found = json.loads(run("verdict", "--target", saved, "--reading", f"{saved}:2", "--json").stdout)
    assert any("one photo" in note for note in found["notes"])
    alone = [",".join(map(str, part[name])) for name in ("lab", "lab_u") for part in parts[:2]]
    apart = ("--target", alone[0], "--reading", alone[1], "--target-u", alone[2], "--reading-u", alone[3])
    wide = json.loads(run("verdict", *apart, "--json").stdout)
    assert wide["delta_e00"] == pytest.approx(found["delta_e00"], abs=0.01)
    assert found["delta_e00_u"] < 0.5 * wide["delta_e00_u"], "what one photo shares cancels"
    assert run("verdict", "--target", saved, "--reading", f"{saved}:9").exit_code == 2
    one = tmp_path / "part.json"
    one.write_text(json.dumps(parts[1]), encoding="utf-8")
    again = json.loads(run("verdict", "--target", saved, "--reading", one, "--json").stdout)
    assert again["delta_e00_u"] == found["delta_e00_u"]


def test_a_part_is_measured_by_its_bare_twin(tmp_path):
    samples = Path(__file__).parents[2] / "samples"
    # what would lower ± is said where it would lower it by much
    doubtful = run("measure", samples / "orange_tags_on_wood.jpg", "--no-flaws", "--json")
    assert re.search(r"^better: .+: ± \d+ becomes ± \d+$", doubtful.stderr, re.MULTILINE)
    photo = samples / "tags_one_streaked.jpg"
    found = run("measure", photo, "--no-flaws", "--json")
    assert "better: " not in found.stderr
    parts = json.loads(found.stdout)["parts"]
    outline = " ".join(f"{x},{y}" for x, y in parts[1]["outline"])
    words = ("measure", photo, "--no-flaws", "--json", "--twin-at", outline, "--twin-lab", "80,0,-1")
    read = json.loads(run(*words).stdout)
    (part,) = read["parts"]
    assert part["outline"] == parts[0]["outline"]
    assert part["lab_u"][0] < parts[0]["lab_u"][0]
    assert read["options"]["twin_lab"] == [80, 0, -1]
    assert read["next_step"] is None or read["next_step"]["step"] != "twin"
    with open_book(tmp_path / "shop.dyebook") as book:
        keep_twin(book, part["setup"]["key"], "79, 0, -1")
    told = json.loads(run(*words[:-2], "--book", tmp_path / "shop.dyebook").stdout)
    assert told["options"]["twin_lab"] == [79, 0, -1]
    assert json.loads(run(*words[:-2], "--book", tmp_path / "none").stdout)["options"]["twin_lab"] is None
    assert not (tmp_path / "none").exists()
    alone = run("measure", photo, "--twin-lab", "80,0,-1")
    assert alone.exit_code == 2
    assert "--twin-at" in alone.stderr


def test_set_ups_are_named_parted_and_linked_in_the_shell(tmp_path):
    path = str(tmp_path / "a.sqlite")
    with open_book(path) as book:
        keep_check_day(book, "2026-01-01", None, [(_coupon((45.0, 38.0, 40.0), "4f2a"), None)])
        keep_check_day(book, "2026-01-02", None, [(_coupon((48.0, 38.0, 42.0), "99cc"), None)])

    def setups(*more):
        found = run("camera", "setups", *more, "--book", path, "--json")
        assert found.exit_code == 0, found.output
        return json.loads(found.output)

    (step,) = setups("--key", "4f2a", "--name", "Window bench")["steps"]
    assert (step["here"], step["there"], step["step"]) == ("99cc", "window bench", [3, 0, 2])
    assert setups("--step", "Window bench, 99cc")["steps"][0]["taken"]
    joined = setups("--key", "99cc", "--name", "window bench")
    assert [one["keys"] for one in joined["setups"]] == [["4f2a", "99cc"]]
    assert joined["steps"] == []
    parted = setups("--key", "99cc", "--take-back")
    assert sorted(one["keys"] for one in parted["setups"]) == [["4f2a"], ["99cc"]]
    assert not setups("--step", "Window bench,99cc", "--leave")["steps"][0]["taken"]
    assert "99cc reads L* +3.0 ± 0.4" in run("camera", "setups", "--book", path).output
    assert run("camera", "setups", "--key", "99cc", "--book", path).exit_code == 2
    assert run("camera", "setups", "--step", "99cc", "--book", path).exit_code == 2


def _coupon(lab, setup):
    own = {name: (np.eye(3) * 0.01).tolist() for name in ("photo", "own")}
    return {**dict(zip("Lab", lab, strict=True)), "error_parts": own, "setup_key": setup, "source": "photo"}


def test_a_batch_is_judged_by_limit_samples_too(tmp_path):
    path = str(tmp_path / "a.sqlite")
    with open_book(path) as book:
        number = book.add_batch(DyeRecord("Ember", 12, 3, 50, 6))
        book.add_reading(number, lab=(44, 40, 44), L_sd=0.2, a_sd=0.2, b_sd=0.2)
    asked = ("verdict", "--batch", number, "--target", "40,40,44", "--book", path, "--json")
    assert json.loads(run(*asked).output)["verdict"] == "out"
    between = json.loads(run(*asked, "--limits", "48,40,44 36,40,44").output)
    assert (between["verdict"], between["between"]) == ("in", [[48, 40, 44], [36, 40, 44]])
