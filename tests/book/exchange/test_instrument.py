"""Readings from instruments, in open standard forms, come to D65 and the 2-degree observer."""

import numpy as np
import pytest

from dyebook.errors import BookError, RecordError

TEXT = """ISO28178
ORIGINATOR "bench instrument"
CREATED "2026-03-28" # time of day unknown
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 "kettle lid" 40,5 5.25 -30.0
2 handle 60 0 0
END_DATA
"""

XML = """<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>
<cc:ObjectCollection>
 <cc:Object ObjectType="Target" Name="kettle lid" Id="o1"><cc:ColorValues>
  <cc:ColorCIELab ColorSpecification="cs1"><cc:L>40.5</cc:L><cc:A>5.25</cc:A><cc:B>-30</cc:B></cc:ColorCIELab>
 </cc:ColorValues></cc:Object>
 <cc:Object ObjectType="Standard" Name="plain grey" Id="o2"><cc:ColorValues>
  <cc:ReflectanceSpectrum ColorSpecification="cs2" StartWL="400">VALUES</cc:ReflectanceSpectrum>
 </cc:ColorValues></cc:Object>
</cc:ObjectCollection>
<cc:ColorSpecificationCollection>
 <cc:ColorSpecification Id="cs1"><cc:TristimulusSpec><cc:Illuminant>D50</cc:Illuminant>
  <cc:Observer>2_Degree</cc:Observer></cc:TristimulusSpec></cc:ColorSpecification>
 <cc:ColorSpecification Id="cs2"><cc:MeasurementSpec><cc:WavelengthRange StartWL="400" Increment="10"/>
 </cc:MeasurementSpec></cc:ColorSpecification>
</cc:ColorSpecificationCollection></cc:Resources></cc:CxF>
""".replace("VALUES", " ".join(["0.18"] * 31))

# colour-science, Bradford, of Lab (40.5, 5.25, -30) under D50; computed apart from the project's own code
AS_D65 = (40.5, 5.25, -30.0)


def _reference():
    import colour

    whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour.Lab_to_XYZ(AS_D65, whites["D50"])
    white_50, white_65 = colour.xy_to_XYZ(whites["D50"]), colour.xy_to_XYZ(whites["D65"])
    adapted = colour.chromatic_adaptation(xyz, white_50, white_65, method="Von Kries", transform="Bradford")
    return colour.XYZ_to_Lab(adapted, whites["D65"])


def test_text_form_is_read_and_converted(store, tmp_path):
    (tmp_path / "a.txt").write_text(TEXT)
    answer = store.import_file(tmp_path / "a.txt")
    assert (answer.readings, answer.samples) == (2, 2)
    assert "converted from D50" in answer.notes[0]
    first, second = store.rows("readings")
    assert (first["L"], first["a"], first["b"]) == pytest.approx(_reference(), abs=0.02)
    assert (second["L"], second["a"], second["b"]) == pytest.approx((60, 0, 0), abs=0.02)
    assert first["measured_with"]["lab"] == [40.5, 5.25, -30.0]
    assert [row["name"] for row in store.rows("samples")] == ["kettle lid", "handle"]


def test_spectra_in_text_need_no_white_and_may_be_in_per_cent(store, tmp_path):
    bands = range(400, 710, 10)
    fields = " ".join(f"SPECTRAL_NM{band}" for band in bands)
    text = f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n"
    (tmp_path / "s.txt").write_text(f"{text}1 {' '.join(['18.0'] * 31)}\nEND_DATA\n")
    store.import_file(tmp_path / "s.txt")
    (row,) = store.rows("readings")
    # a flat reflectance of 0.18 is L* 49.50 by the definition of L*
    assert (row["L"], row["a"], row["b"]) == pytest.approx((49.496, 0, 0), abs=0.03)
    assert row["spectrum"]["wavelength_nm"][0] == 400
    assert row["spectrum"]["reflectance"][0] == pytest.approx(0.18)


def test_colour_file_in_xml(store, tmp_path, dip):
    number = store.add_batch(dip())
    (tmp_path / "a.xml").write_text(XML)
    answer = store.import_file(tmp_path / "a.xml", batch=number)
    assert (answer.readings, answer.samples) == (2, 0)
    lab, grey = store.rows("readings", batch_id=number)
    assert (lab["L"], lab["a"], lab["b"]) == pytest.approx(_reference(), abs=0.02)
    assert (grey["L"], grey["a"], grey["b"]) == pytest.approx((49.496, 0, 0), abs=0.03)


BOMB = """<?xml version="1.0"?><!DOCTYPE b [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>
<CxF><Object Name="&b;"/></CxF>"""
OUTSIDE = """<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>
<CxF><Object Name="&e;"/></CxF>"""


@pytest.mark.parametrize("text", [BOMB, OUTSIDE], ids=["bomb", "outside"])
def test_entities_are_refused(store, tmp_path, text):
    (tmp_path / "a.cxf").write_text(text)
    with pytest.raises(BookError, match="declares entities"):
        store.import_file(tmp_path / "a.cxf")


WRONG = {
    "cut.txt": (TEXT[: TEXT.index("END_DATA\n")], "ends in the middle"),
    "short.txt": (TEXT.replace("handle 60 0 0", "handle 60 0"), "line 13: 4 values, 5 fields"),
    "words.txt": (TEXT.replace("handle 60 0 0", "handle 60 0 x"), "line 13: 'x' is no number"),
    "white.txt": (TEXT.replace("WEIGHTING_FUNCTION", "REMARK").replace("ILLUMINANT,", ""), "white point and observer"),
    "strange.txt": (TEXT.replace("D50", "D99"), "unknown white point"),
    "cut.xml": (XML[:300], "is no XML"),
    "empty.xml": ("<CxF/>", "no Lab values and no spectra"),
    "few.xml": (XML.replace("0.18 " * 28, ""), "eight bands"),
    "range.txt": (TEXT.replace("40,5", "140,5"), r"L\* is 14"),
}


@pytest.mark.parametrize("name", WRONG)
def test_wrong_files_leave_nothing_behind(store, tmp_path, name):
    text, words = WRONG[name]
    (tmp_path / name).write_text(text)
    with pytest.raises(Exception, match=words) as caught:
        store.import_file(tmp_path / name)
    from dyebook.errors import DyebookError

    assert isinstance(caught.value, DyebookError)
    assert store.rows("readings") == []
    assert store.rows("samples") == []


def test_a_plain_table_must_say_its_white_point(store, tmp_path, dip):
    number = store.add_batch(dip())
    path = tmp_path / "a.csv"
    path.write_text(f"batch,L,a,b\n{number},40,1,2\n")
    with pytest.raises(BookError, match="white point and observer"):
        store.import_file(path)
    store.import_file(path, white="D65", observer="2")
    assert store.batch(number).lab == (40, 1, 2)
    path.write_text("sample,L*,a*,b*,illuminant,observer\nlid,40,1,2,D50,2\n")
    assert store.import_file(path, dry_run=True).samples == 1
    assert len(store.rows("readings")) == 1
    store.import_file(path)
    assert np.hypot(*(store.rows("readings")[-1][axis] - value for axis, value in (("a", 1), ("b", 2)))) > 0.05
    path.write_text("batch,L,a,b,white,observer\n99,40,1,2,D65,2\n")
    with pytest.raises(BookError, match="no number 99"):
        store.import_file(path)


def test_an_unknown_encoding_is_refused(store, tmp_path):
    path = tmp_path / "lid.cxf"
    path.write_text(XML.replace("UTF-8", "QTF-8"), encoding="utf-8")
    with pytest.raises(BookError, match=r"lid\.cxf is no XML"):
        store.import_file(path)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("45/0", "45/0"),
        ("45°:0°", "45/0"),
        ("SCI", "d/8 included"),
        ("d/8 excluded", "d/8 excluded"),
        ("spex", "d/8 excluded"),
    ],
)
def test_the_geometry_is_kept_with_a_reading(store, tmp_path, dip, typed, kept):
    number = store.add_batch(dip())
    path = tmp_path / "a.csv"
    path.write_text(f"batch,L,a,b,white,observer,geometry\n{number},40,1,2,D65,2,{typed}\n")
    answer = store.import_file(path)
    assert not answer.notes
    (row,) = store.rows("readings")
    assert (row["geometry"], row["L_sd"]) == (kept, None)


def test_a_geometry_that_is_not_stated_is_asked_for_and_a_strange_one_refused(store, tmp_path, dip):
    number = store.add_batch(dip())
    path = tmp_path / "a.csv"
    path.write_text(f"batch,L,a,b,white,observer\n{number},40,1,2,D65,2\n")
    assert "no geometry is stated" in store.import_file(path, dry_run=True).notes[0]
    assert not store.import_file(path, dry_run=True, geometry="45/0").notes
    with pytest.raises(RecordError, match="no geometry known"):
        store.import_file(path, geometry="sideways")


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        ("<cc:SingleAngle><cc:IlluminationAngle>45</cc:IlluminationAngle>"
         "<cc:MeasurementAngle>0</cc:MeasurementAngle></cc:SingleAngle>", "45/0"),
        ("<cc:Sphere><cc:Mode>Specular_Excluded</cc:Mode></cc:Sphere>", "d/8 excluded"),
        ("<cc:Other>unknown</cc:Other>", None),
    ],
)  # fmt: skip
def test_an_xml_file_tells_its_geometry(store, tmp_path, told, kept):
    path, at = tmp_path / "lid.cxf", '<cc:WavelengthRange StartWL="400" Increment="10"/>'
    path.write_text(XML.replace(at, f"<cc:GeometryChoice>{told}</cc:GeometryChoice>{at}"), encoding="utf-8")
    store.import_file(path)
    assert [row["geometry"] for row in store.rows("readings")] == [None, kept]


@pytest.mark.parametrize(("white", "observer", "most"), [("D65", "10", 4.6), ("D50", "2", 0.95)])
def test_a_converted_lab_keeps_the_doubt_of_that(store, tmp_path, white, observer, most):
    """Held against spectra: the spread of Bradford's error over the patches of a published set."""
    import colour

    observers = {"2": "CIE 1931 2 Degree Standard Observer", "10": "CIE 1964 10 Degree Standard Observer"}
    shape, patches = colour.SpectralShape(380, 780, 5), list(colour.SDS_COLOURCHECKERS["ISO 17321-1"].values())

    def lab(sd, white, observer):
        cmfs = colour.MSDS_CMFS[observers[observer]].copy().align(shape)
        light = colour.SDS_ILLUMINANTS[white].copy().align(shape)
        xyz = colour.sd_to_XYZ(sd.copy().align(shape), cmfs, light, method="Integration") / 100
        return colour.XYZ_to_Lab(xyz, colour.CCS_ILLUMINANTS[observers[observer]][white])

    path = tmp_path / "a.csv"
    lines = [",".join(map(str, [*lab(sd, white, observer), white, observer, "45/0"])) for sd in patches]
    path.write_text("L,a,b,white,observer,geometry\n" + "\n".join(lines) + "\n")
    store.import_file(path)
    rows = store.rows("readings")
    error = np.array([[row[axis] for axis in "Lab"] for row in rows]) - [lab(sd, "D65", "2") for sd in patches]
    kept = [rows[0][f"{axis}_sd"] for axis in "Lab"]
    assert np.sqrt((error**2).mean(axis=0)) == pytest.approx(kept, abs=0.1)
    assert max(kept) == most
