"""Readings from an instrument: brought to D65 and the 2-degree observer, then kept with a batch or as samples.

Which kind of file it is decides how it is read: a table with L, a, b; the text form of ISO 28178 (keywords, a data
format, and rows of data); or colour files in XML by ISO 17972-1 (objects with Lab values or reflectance spectra). In
XML, entities, and with them everything that could reach outside the file or blow it up, are refused.

References
----------
ISO 17972-1:2015, Graphic technology — Colour data exchange format — Part 1: Relationship to CxF3.
Element names as its example files have them; namespace prefixes are passed over.
ISO 28178:2009, Graphic technology — Exchange format for colour and process control data using XML or ASCII text;
its text form is that of the older CGATS.17.
"""

import re
import shlex
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dyebook.book.exchange.records import Imported, import_records, understand
from dyebook.book.readings import typed_values
from dyebook.book.rows import add_row, row_of
from dyebook.book.schema import Batch, Reading, Sample
from dyebook.errors import BookError
from dyebook.lab import adapt_lab, reflectance_to_lab
from dyebook.record import GEOMETRIES, geometry_named

__all__ = ["InstrumentReading", "import_any", "read_colour_text", "read_colour_xml", "typed_instrument"]

LARGEST_BYTES = 50 * 2**20
_XML = {".xml", ".cxf"}
_TEXT = {".txt", ".cgats"}
_STEP_NM = 10.0  # between bands of a spectrum that does not say it


@dataclass(frozen=True)
class InstrumentReading:
    """One colour as an instrument wrote it."""

    name: str  # of the sample
    lab: tuple | None  # L*, a*, b* under the stated white
    # white, observer: such as ``"D50"`` and ``"2"``; None where the file does not say
    white: str | None = None
    observer: str | None = None
    # wavelength_nm, reflectance: the spectrum, reflectance 0..1; empty without one
    wavelength_nm: tuple = ()
    reflectance: tuple = ()
    batch: int | None = None  # the batch it names itself
    geometry: str | None = None  # one of `GEOMETRIES`


def import_any(book, file, dry_run=False, duplicates="refuse", progress=None, batch=None, **stated) -> Imported:
    """Import a table of records, or readings from an instrument.

    BookError if the file cannot be taken as it is; nothing was imported then.

    Parameters
    ----------
    file : Path
        Records: CSV, XLSX, JSON Lines or Parquet with a column of dyes. Readings: such a table with L, a, b but no
        dye, the ISO 28178 text form, or an ISO 17972-1 colour file (XML).
    dry_run : bool
        True to say what would happen, and write nothing.
    duplicates : {"refuse", "skip", "keep"}
        For records, see `import_records`.
    progress : callable, optional
    batch : int, optional
        For readings: the batch they belong to; without it they become samples of their own.
    **stated
        `white`, `observer` and `geometry` of readings whose file does not state them: such as ``"D50"``, ``"2"`` and
        ``"45/0"``.
    """
    file = Path(file)
    if duplicates not in ("refuse", "skip", "keep"):
        raise ValueError(f"duplicates must be refuse, skip or keep, not {duplicates!r}")
    ending = file.suffix.lower()
    if ending in _XML or (ending in _TEXT and _looks_like_iso28178(file)):
        readings = (read_colour_xml if ending in _XML else read_colour_text)(file)
    else:
        table = understand(file)
        if "dye" in table.values or "L" not in table.values:
            return import_records(book, table, dry_run, duplicates, progress)
        readings = _readings_of_sheet(table)
    if not readings:
        raise BookError(f"{file.name} holds no Lab values and no spectra; nothing was imported")
    return _keep(book, file.name, readings, dry_run, batch, stated)


def _keep(book, name, readings, dry_run, batch, stated):
    """Keep each reading with its batch, or else with the one given, or else as a sample of its own."""
    readings = [_stated(reading, name, **stated) for reading in readings]
    values = [_values(reading, name) for reading in readings]
    loose = sum((reading.batch or batch) is None for reading in readings)
    with book.writing() if not dry_run else book.reading() as connection:
        for reading, columns in zip(readings, values, strict=True):
            number = reading.batch or batch
            if number is not None:
                row_of(connection, Batch.__table__, number)
            if not dry_run:
                owner = {"batch_id": number}
                if number is None:
                    owner = {"sample_id": add_row(connection, Sample.__table__, {"name": reading.name}, book.who)}
                add_row(connection, Reading.__table__, {**owner, **columns}, book.who)
    notes = tuple(sorted({note for reading in readings for note in _notes(reading)}))
    return Imported(name, dry_run, 0, len(readings), loose, notes=notes)


# RMS error of L*, a*, b* by Bradford against the spectra's own values under D65/2: the 24 patches of colour-science's
# "ISO 17321-1" set; from D50/2, from any white under the 10-degree observer, from other whites such as A
_CONVERTED_SD = {"D50": (0.4, 0.95, 0.9), "10": (1.1, 4.6, 1.6), "other": (1.6, 3.6, 3.0)}


def typed_instrument(lab, white=None, observer=None, geometry=None):
    """Return the columns of what was typed off an instrument, in the book's own white, and notes on that."""
    reading = _stated(InstrumentReading("typed", tuple(map(float, lab))), "typed", white, observer, geometry)
    return _values(reading, "typed"), tuple(_notes(reading))


def _stated(reading, name, white=None, observer=None, geometry=None):
    reading = replace(
        reading,
        white=reading.white or white,
        observer=reading.observer or observer,
        geometry=geometry_named(reading.geometry or geometry),
    )
    if not reading.reflectance and not (reading.white and reading.observer):
        raise BookError(
            f"{name}: the Lab of {reading.name!r} does not say under which white point and observer it stands; "
            "name them, such as D50 and 2; nothing was imported"
        )
    return reading


def _values(reading, name):
    """The columns of a reading, in the book's own white."""
    try:
        lab = _own_lab(reading)
    except ValueError as error:
        raise BookError(f"{name}, {reading.name!r}: {error}; nothing was imported") from None
    stated = {"name": reading.name, "white": reading.white, "observer": reading.observer, "file": name}
    values = {**typed_values(lab), "source": "instrument", "measured_with": stated, "geometry": reading.geometry}
    if _is_converted(reading):
        kind = "10" if reading.observer == "10" else "D50" if reading.white == "D50" else "other"
        values |= dict(zip(("L_sd", "a_sd", "b_sd"), _CONVERTED_SD[kind], strict=True))
    if reading.lab is not None:
        stated["lab"] = [float(value) for value in reading.lab]
    if reading.reflectance:
        values["spectrum"] = {"wavelength_nm": list(reading.wavelength_nm), "reflectance": list(reading.reflectance)}
    return values


def _is_converted(reading):
    return not reading.reflectance and (reading.white, reading.observer) != ("D65", "2")


def _own_lab(reading):
    if reading.reflectance:
        return reflectance_to_lab(reading.wavelength_nm, reading.reflectance)
    if not _is_converted(reading):
        return reading.lab
    return adapt_lab(reading.lab, reading.white, reading.observer)


def _notes(reading):
    if reading.reflectance:
        yield "Lab was computed from the spectra, for D65 and the 2-degree observer"
    if _is_converted(reading):
        yield (
            f"Lab was converted from {reading.white}, {reading.observer}-degree observer (Bradford), and is kept with "
            "the doubt of that; only a spectrum gives it exactly"
        )
    if reading.geometry is None:
        yield f"no geometry is stated ({', '.join(GEOMETRIES)}): name it, so that like is compared with like"


def _readings_of_sheet(table):
    """The `InstrumentReading` of each row of an understood table without dyes."""
    readings = []
    for index, row in enumerate(table.rows):
        record = table.record(index)
        lab = tuple(record.get(axis, float("nan")) for axis in "Lab")
        if not np.isfinite(lab).all():
            raise BookError(f"{table.name}, row {row}: L, a and b are needed; nothing was imported")
        name = record.get("name") or f"{table.name} row {row}"
        observer = record.get("observer")
        observer = observer.strip("° ").removesuffix(" degree") if observer else None
        own = {name: record.get(name) for name in ("batch", "geometry")}
        readings.append(InstrumentReading(name, lab, record.get("white"), observer, **own))
    return readings


def read_colour_xml(path):
    """Return the readings of a file, one `InstrumentReading` an object.

    BookError if it is not XML, declares entities, is too large, or a value is no number.
    """
    import xml.etree.ElementTree as PlainTree

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise BookError(f"{path.name} is larger than {LARGEST_BYTES >> 20} MB; split it")
        root = fromstring(path.read_bytes(), forbid_dtd=True)
    except OSError as error:
        raise BookError(f"{path} cannot be read ({error.strerror}); check the path") from None
    except DefusedXmlException:
        raise BookError(f"{path.name} declares entities, which no colour file needs; it was refused") from None
    except (PlainTree.ParseError, LookupError, ValueError) as error:  # the latter two: encodings it cannot read
        raise BookError(f"{path.name} is no XML ({error}); get it from the instrument again") from None
    specifications = {one.get("Id"): one for one in _all(root, "ColorSpecification") if one.get("Id")}
    try:
        found = [_reading_of_object(one, specifications) for one in _all(root, "Object")]
    except ValueError as error:
        raise BookError(f"{path.name}: {error}; nothing was imported") from None
    return [reading for reading in found if reading is not None]


def _all(element, name):
    """Elements of a name below this one, in any namespace."""
    return element.findall(f".//{{*}}{name}")


def _text(element, name):
    found = _all(element, name) if element is not None else []
    return found[0].text.strip() if found and found[0].text else None


def _reading_of_object(element, specifications):
    name = element.get("Name") or element.get("Id") or "unnamed"
    spectra, labs = _all(element, "ReflectanceSpectrum"), _all(element, "ColorCIELab")
    lab, stated, bands, values = None, {}, (), ()
    if labs:
        lab = tuple(float(_text(labs[0], axis) or "nan") for axis in ("L", "A", "B"))
        stated = _stated_in_xml(specifications.get(labs[0].get("ColorSpecification")))
    if spectra and spectra[0].text:
        values = tuple(float(word) for word in spectra[0].text.split())
        bands = _bands(spectra[0], specifications.get(spectra[0].get("ColorSpecification")), len(values))
    if lab is None and not values:
        return None
    geometry = _geometry_in_xml(specifications.get((labs or spectra)[0].get("ColorSpecification")))
    return InstrumentReading(name, lab, **stated, wavelength_nm=bands, reflectance=values, geometry=geometry)


def _stated_in_xml(specification):
    """White point and observer of a specification."""
    observer = _text(specification, "Observer")
    return {"white": _text(specification, "Illuminant"), "observer": observer.split("_")[0] if observer else None}


def _geometry_in_xml(specification):
    """One of `GEOMETRIES`, or None; the element names are those of the standard as remembered."""
    if {_text(specification, name) for name in ("IlluminationAngle", "MeasurementAngle")} == {"45", "0"}:
        return "45/0"
    choices = _all(specification, "GeometryChoice") if specification is not None else []
    words = " ".join(text for choice in choices for text in choice.itertext()).lower()
    return next((f"d/8 {mirror}" for mirror in ("included", "excluded") if mirror in words), None)


def _bands(spectrum, specification, count):
    """Wavelengths of a spectrum's values; the step stands in the specification."""
    ranges = _all(specification, "WavelengthRange") if specification is not None else []
    given = ranges[0] if ranges else spectrum
    start = spectrum.get("StartWL") or given.get("StartWL")
    if start is None:
        raise ValueError("a spectrum does not say at which wavelength it starts")
    step = float(given.get("Increment") or _STEP_NM)
    return tuple(float(start) + step * index for index in range(count))


_SPECTRAL = re.compile(r"(?:SPECTRAL_NM_?|SPECTRAL_|SPEC_|NM|R_?)(\d{3})(?:NM)?", re.IGNORECASE)
_FIRST_WORDS = ("ISO28178", "CGATS.17", "CGATS.5", "BEGIN_DATA_FORMAT")


def _looks_like_iso28178(path):
    """Whether a text file begins as this form does."""
    try:
        with path.open("rb") as file:
            head = file.read(20_000).decode("latin-1")
    except OSError:
        return False
    return any(word in head.upper() for word in _FIRST_WORDS)


def read_colour_text(path):
    """Return the readings of a file, one `InstrumentReading` a data row."""
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
            readings.append(_reading_of_row(path, number, fields, words, _stated_in_text(keywords)))
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


def _stated_in_text(keywords):
    """White point, observer and geometry, as far as the keywords say."""
    stated = {"white": None, "observer": None, "geometry": None}
    for text in (text for texts in keywords.values() for text in texts):
        words = text.upper()
        found = re.search(r"ILLUMINANT\s*,\s*(\w+)", words)
        stated["white"] = found[1] if found else stated["white"]
        found = re.search(r"OBSERVER\s*,\s*(2|10)\b", words.replace("DEGREE", "").replace("°", " "))
        stated["observer"] = found[1] if found else stated["observer"]
    for name, key in (("ILLUMINATION_NAME", "white"), ("OBSERVER_ANGLE", "observer")):
        for text in keywords.get(name, []):
            stated[key] = stated[key] or text.strip().strip("°").split()[0]
    stated["geometry"] = next(iter(keywords.get("MEASUREMENT_GEOMETRY", [])), None)
    return stated


def _reading_of_row(path, number, fields, words, stated):
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
