"""Logs of many loggers read alike, and broken ones are refused in words."""

import numpy as np
import pytest

from dyebook.errors import RecordError
from dyebook.physics.trace.read import guess_columns, make_trace, parse_trace, read_notes, read_trace

MINUTES = np.arange(6) * 0.5
AMPS = np.array([0.0, 1.0, 2.0, 2.1, 2.1, 2.05])


def _table(header, rows, separator=","):
    return "\n".join([header, *(separator.join(row) for row in rows)])


def _check(trace):
    assert trace.time_min == pytest.approx(MINUTES, abs=1e-9)
    assert trace.current_a == pytest.approx(AMPS, abs=1e-9)


@pytest.mark.parametrize(
    ("header", "time_factor", "amp_factor"),
    [
        ("time_min,current_a", 1, 1),
        ("Time [s],Current [A]", 60, 1),
        ("elapsed (sec),I (mA)", 60, 1000),
        ("t/s,I/A", 60, 1),
        ("Time (ms),Output Current (A)", 60000, 1),
        ("hours,Amps", 1 / 60, 1),
        ("Zeit in min,Strom in mA", 1, 1000),
        ("minutes,amperes", 1, 1),
        ("time_s,current_ma", 60, 1000),
        ("Seconds,CURRENT (A)", 60, 1),
    ],
)
def test_headers_and_units(header, time_factor, amp_factor):
    rows = [(repr(float(t * time_factor)), repr(float(a * amp_factor))) for t, a in zip(MINUTES, AMPS, strict=True)]
    _check(parse_trace(_table(header, rows)))


def test_semicolons_decimal_commas_and_bom():
    rows = [(f"{t}".replace(".", ","), f"{a}".replace(".", ",")) for t, a in zip(MINUTES, AMPS, strict=True)]
    _check(parse_trace("\ufeff" + _table("Zeit (min);Strom (A)", rows, ";").lstrip("\ufeff")))


def test_quoted_decimal_commas_between_commas():
    rows = [(f'"{t}"'.replace(".", ","), f'"{a}"'.replace(".", ",")) for t, a in zip(MINUTES, AMPS, strict=True)]
    _check(parse_trace(_table("time (min),current (A)", rows)))


def test_tabs_blanks_and_preamble():
    rows = [(f"{t}", f"{a}") for t, a in zip(MINUTES, AMPS, strict=True)]
    _check(parse_trace("# logger 7\n" + _table("time_min\tcurrent_a", rows, "\t")))
    _check(parse_trace(_table("time_min current_a", rows, " ")))
    _check(parse_trace("Logger export\nChannel list\n" + _table("Time (min),Current (A)", rows)))


def test_units_in_a_row_of_their_own():
    rows = [(f"{t * 60}", f"{a * 1000}") for t, a in zip(MINUTES, AMPS, strict=True)]
    _check(parse_trace("Time,Current\n" + _table("s,mA", rows)))


@pytest.mark.parametrize(
    "stamps",
    [
        ["12:59:00", "12:59:30", "13:00:00", "13:00:30", "13:01:00", "13:01:30"],
        ["23:59:00", "23:59:30", "00:00:00", "00:00:30", "00:01:00", "00:01:30"],
        ["0:00", "0:30", "1:00", "1:30", "2:00", "2:30"],
        [f"2031-05-04 10:{m:02d}:{s:02d}" for m, s in ((0, 0), (0, 30), (1, 0), (1, 30), (2, 0), (2, 30))],
        [f"2031-05-04T10:0{m}:{s:02d}Z" for m, s in ((0, 0), (0, 30), (1, 0), (1, 30), (2, 0), (2, 30))],
        [f"04.05.2031 10:0{m}:{s:02d}" for m, s in ((0, 0), (0, 30), (1, 0), (1, 30), (2, 0), (2, 30))],
    ],
)
def test_clock_times_and_dates(stamps):
    rows = [(stamp, f"{a}") for stamp, a in zip(stamps, AMPS, strict=True)]
    _check(parse_trace(_table("Timestamp,Current (A)", rows)))


def test_all_quantities_in_any_order():
    rows = [(f"{68 + i}", f"{15000 + i}", f"{a}", f"{t}") for i, (t, a) in enumerate(zip(MINUTES, AMPS, strict=True))]
    trace = parse_trace(_table("Bath Temp (°F),Voltage (mV),Current (A),Time (min)", rows))
    _check(trace)
    assert trace.voltage_v[0] == pytest.approx(15)
    assert trace.electrolyte_temp_c[0] == pytest.approx(20)


def test_measured_beats_set_and_density_is_not_current():
    found = guess_columns(["Time (s)", "Set current (A)", "Current (A)", "Current density (A/dm2)", "Room temp (C)"])
    assert found["current_a"].header == "Current (A)"
    assert "electrolyte_temp_c" not in found


def test_current_time_is_a_clock_and_warm_figures_are_fahrenheit():
    rows = [(f"{t}", f"{a}", "68") for t, a in zip(MINUTES, AMPS, strict=True)]
    trace = parse_trace(_table("Current time (min),Iout,Temp", rows))
    _check(trace)
    assert trace.electrolyte_temp_c[0] == pytest.approx(20)


def test_user_names_the_column():
    rows = [(f"{t}", "7", f"{a}") for t, a in zip(MINUTES, AMPS, strict=True)]
    trace = parse_trace(_table("Time (min),Ch 1,Ch 2", rows), columns={"current_a": "Ch 2"})
    _check(trace)
    assert trace.columns["current_a"] == "Ch 2"


def test_no_header_is_taken_in_order_and_said():
    rows = [(f"{t}", f"{a}", "15") for t, a in zip(MINUTES, AMPS, strict=True)]
    trace = parse_trace("\n".join(",".join(row) for row in rows))
    _check(trace)
    assert any("order" in note for note in trace.notes)


def test_time_without_unit():
    long = [(f"{t}", "2.0") for t in range(0, 1200, 10)]
    assert parse_trace(_table("time,current", long)).time_min[-1] == pytest.approx(1190 / 60)
    fine = [(f"{t}", "2.0") for t in range(0, 1_200_000, 10_000)]
    assert parse_trace(_table("timestamp,curr", fine)).time_min[-1] == pytest.approx(1190 / 60)
    short = [(f"{t}", "2.0") for t in range(40)]
    trace = parse_trace(_table("time,current", short))
    assert trace.time_min[-1] == pytest.approx(39)
    assert any("minutes" in note for note in trace.notes)


def test_rows_without_a_number_are_left_out_and_said():
    text = "time_min,current_a,voltage_v\n0,1,15\n1,,15\n2,1,15\n3,1,15\n"
    trace = parse_trace(text)
    assert trace.time_min.tolist() == [0, 2, 3]
    assert any("left out" in note for note in trace.notes)


def test_reversed_shunt():
    trace = parse_trace("time_min,current_a\n0,-1\n1,-2\n2,-2\n")
    assert trace.current_a.max() == 2
    assert any("sign" in note for note in trace.notes)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("hello\nworld\n", "no row of numbers"),
        ("time_min,current_a\n0,1\n2,1\n1,1\n3,1\n", "backwards"),
        ("time_min,voltage_v\n0,1\n2,1\n1,1\n", "current_a"),
        ("foo,current_a\n0,1\n2,1\n3,1\n", "time_min"),
        ("time_min,current_a\n0,1\n1,1\n", "at least 3"),
        ("time_min,current_a\n0,0\n1,0\n2,0\n", "above 0 A"),
    ],
)
def test_broken_logs_are_refused(text, words):
    with pytest.raises(RecordError, match=words):
        parse_trace(text)


def test_missing_file_and_column(tmp_path):
    with pytest.raises(RecordError, match="opened"):
        read_trace(tmp_path / "none.csv")
    with pytest.raises(RecordError, match="no column"):
        parse_trace("time_min,current_a\n0,1\n1,1\n2,1\n", columns={"current_a": "Ch 9"})
    with pytest.raises(RecordError, match="no quantity"):
        parse_trace("time_min,current_a\n0,1\n1,1\n2,1\n", columns={"colour": "Ch 9"})


def test_wide_text_file(tmp_path):
    file = tmp_path / "log.csv"
    file.write_bytes("time_min,current_a\n0,1\n1,1\n2,1\n".encode("utf-16"))
    assert read_trace(file).current_a.tolist() == [1, 1, 1]


def test_hand_notes():
    trace = read_notes("0.6 A at start, 0.9 A at 10 min; 900 mA at 25:00", end_min=40)
    assert trace.time_min.tolist() == [0, 10, 25, 40]
    assert trace.current_a.tolist() == [0.6, 0.9, 0.9, 0.9]
    assert trace.by_hand


@pytest.mark.parametrize("text", ["", "lots of current", "0.6 A at noon", "0.9 A at 10 min, 0.6 A at 5 min"])
def test_bad_notes_are_refused(text):
    with pytest.raises(RecordError):
        read_notes(text)


def test_a_column_without_a_figure_counts_as_not_logged():
    trace = make_trace(MINUTES, AMPS, voltage_v=np.full(6, np.nan), electrolyte_temp_c=np.full(6, 20.0))
    assert trace.voltage_v is None
    assert trace.electrolyte_temp_c == pytest.approx(20)
