"""Colour files in XML by ISO 17972-1: objects with Lab values or reflectance spectra.

Entities, and with them everything that could reach outside the file or blow it up, are refused.

References
----------
ISO 17972-1:2015, Graphic technology — Colour data exchange format — Part 1: Relationship to CxF3.
Element names as its example files have them; namespace prefixes are passed over.
"""

from dyebook.book.exchange.instrument import InstrumentReading
from dyebook.errors import BookError

__all__ = ["read_colour_xml"]

LARGEST_BYTES = 50 * 2**20
_STEP_NM = 10.0


def read_colour_xml(path):
    """Return the readings of a file, one `InstrumentReading` an object.

    Raises
    ------
    BookError
        If it is not XML, declares entities, is too large, or a value is no number.
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
        found = [_reading(one, specifications) for one in _all(root, "Object")]
    except ValueError as error:
        raise BookError(f"{path.name}: {error}; nothing was imported") from None
    return [reading for reading in found if reading is not None]


def _local(element):
    return element.tag.rsplit("}", 1)[-1]


def _all(element, name):
    return [one for one in element.iter() if _local(one) == name]


def _text(element, name):
    found = _all(element, name) if element is not None else []
    return found[0].text.strip() if found and found[0].text else None


def _reading(element, specifications):
    name = element.get("Name") or element.get("Id") or "unnamed"
    spectra, labs = _all(element, "ReflectanceSpectrum"), _all(element, "ColorCIELab")
    lab, stated, bands, values = None, {}, (), ()
    if labs:
        lab = tuple(float(_text(labs[0], axis) or "nan") for axis in ("L", "A", "B"))
        stated = _stated(specifications.get(labs[0].get("ColorSpecification")))
    if spectra and spectra[0].text:
        values = tuple(float(word) for word in spectra[0].text.split())
        bands = _bands(spectra[0], specifications.get(spectra[0].get("ColorSpecification")), len(values))
    if lab is None and not values:
        return None
    return InstrumentReading(name, lab, **stated, wavelength_nm=bands, reflectance=values)


def _stated(specification):
    """White point and observer of a specification."""
    observer = _text(specification, "Observer")
    return {"white": _text(specification, "Illuminant"), "observer": observer.split("_")[0] if observer else None}


def _bands(spectrum, specification, count):
    """Wavelengths of a spectrum's values; the step stands in the specification."""
    ranges = _all(specification, "WavelengthRange") if specification is not None else []
    given = ranges[0] if ranges else spectrum
    start = spectrum.get("StartWL") or given.get("StartWL")
    if start is None:
        raise ValueError("a spectrum does not say at which wavelength it starts")
    step = float(given.get("Increment") or _STEP_NM)
    return tuple(float(start) + step * index for index in range(count))
