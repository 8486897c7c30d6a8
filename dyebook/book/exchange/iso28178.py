"""The text form of ISO 28178: keywords, a data format, and rows of data.

References
----------
ISO 28178:2009, Graphic technology — Exchange format for colour and process control data using XML or ASCII text;
its text form is that of the older CGATS.17.
"""

import re
import shlex
from dataclasses import replace

from dyebook.book.exchange.instrument import InstrumentReading
from dyebook.errors import BookError

__all__ = ["looks_like_iso28178", "read_colour_text"]

LARGEST_BYTES = 50 * 2**20
_SPECTRAL = re.compile(r"(?:SPECTRAL_NM_?|SPECTRAL_|SPEC_|NM|R_?)(\d{3})(?:NM)?", re.IGNORECASE)
_FIRST_WORDS = ("ISO28178", "CGATS.17", "CGATS.5", "BEGIN_DATA_FORMAT")


def looks_like_iso28178(path):
    """Whether a text file begins as this form does."""
    try:
        with path.open("rb") as file:
            head = file.read(20_000).decode("latin-1")
    except OSError:
        return False
    return any(word in head.upper() for word in _FIRST_WORDS)


def read_colour_text(path):
    """Return the readings of a file, one `InstrumentReading` a data row.

    Raises
    ------
    BookError
        If its tables are incomplete, or a value is no number; with its line.
    """
    if path.stat().st_size > LARGEST_BYTES:
        raise BookError(f"{path.name} is larger than {LARGEST_BYTES >> 20} MB; split it")
    lines = path.read_text(encoding="utf-8-sig", errors="replace").splitlines()
    readings, keywords, fields, mode = [], {}, [], None
    for number, line in enumerate(lines, start=1):
        words = _words(line, path, number)
        if not words:
            continue
        head = words[0].upper()
        if head == "BEGIN_DATA_FORMAT":
            fields, mode = [], "format"
        elif head == "BEGIN_DATA":
            mode = "data"
        elif head in ("END_DATA_FORMAT", "END_DATA"):
            mode = None
        elif mode == "format":
            fields += [word.upper() for word in words]
        elif mode == "data":
            readings.append(_reading(path, number, fields, words, _stated(keywords)))
        else:
            keywords.setdefault(head, []).append(" ".join(words[1:]))
    if mode is not None:
        raise BookError(f"{path.name} ends in the middle of its data; get it from the instrument again")
    return _as_fractions([reading for reading in readings if reading is not None])


def _words(line, path, number):
    try:
        return shlex.split(line, comments=True) if '"' in line else line.split("#", 1)[0].split()
    except ValueError:
        raise BookError(f"{path.name}, line {number}: a quotation mark is missing") from None


def _stated(keywords):
    """White point and observer, as far as the keywords say."""
    told = {"white": None, "observer": None}
    for text in (text for texts in keywords.values() for text in texts):
        words = text.upper()
        found = re.search(r"ILLUMINANT\s*,\s*(\w+)", words)
        told["white"] = found[1] if found else told["white"]
        found = re.search(r"OBSERVER\s*,\s*(2|10)\b", words.replace("DEGREE", "").replace("°", " "))
        told["observer"] = found[1] if found else told["observer"]
    for name, key in (("ILLUMINATION_NAME", "white"), ("OBSERVER_ANGLE", "observer")):
        for text in keywords.get(name, []):
            told[key] = told[key] or text.strip().strip("°").split()[0]
    return told


def _reading(path, number, fields, words, stated):
    """One row of data; None when it holds neither Lab nor a spectrum."""
    if len(words) != len(fields):
        raise BookError(f"{path.name}, line {number}: {len(words)} values, {len(fields)} fields; nothing was imported")
    row = dict(zip(fields, words, strict=True))
    name = row.get("SAMPLE_NAME") or row.get("SAMPLE_ID") or row.get("SAMPLEID") or f"line {number}"
    bands = sorted((int(match[1]), field) for field in fields if (match := _SPECTRAL.fullmatch(field)))
    spectrum = tuple(_number(path, number, row[field]) for _, field in bands)
    lab = None
    if {"LAB_L", "LAB_A", "LAB_B"} <= row.keys():
        lab = tuple(_number(path, number, row[field]) for field in ("LAB_L", "LAB_A", "LAB_B"))
    if lab is None and not spectrum:
        return None
    return InstrumentReading(name, lab, **stated, wavelength_nm=tuple(band for band, _ in bands), reflectance=spectrum)


def _number(path, number, word):
    try:
        return float(word.replace(",", "."))
    except ValueError:
        raise BookError(f"{path.name}, line {number}: {word!r} is no number; nothing was imported") from None


def _as_fractions(readings):
    """Spectra as reflectance 0..1: a file in which one value passes 2 is in per cent."""
    if max((value for reading in readings for value in reading.reflectance), default=0) <= 2:
        return readings
    return [replace(one, reflectance=tuple(value / 100 for value in one.reflectance)) for one in readings]
