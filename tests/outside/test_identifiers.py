"""Device identifiers against published examples, each beside its source, and against the library biip.

Marks: "read" in the issuer's own text; "as quoted by" a copy; "derived" is our own arithmetic on a rule that is
named; "from memory" was not read again.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lda_notes.knowledge.supplies import DeviceIdentifier, ScanFault, parse
from lda_notes.udi import Refused, full_year, gs1, hibc

TODAY = date(2026, 3, 4)

FDA_2017 = "FDA, UDI formats by FDA-accredited issuing agency, version 1.3, 2017-01-27 (read in a copy)"
FDA_2025 = "FDA, UDI formats by FDA-accredited issuing agency, version 1.4, 2025-09-01 (as quoted by a copy)"
IMDRF = "IMDRF UDI WG N48, appendix A (read)"
HL7_UDI3 = "HL7 FHIR build, Device example udi3 (read)"
HL7_STU3 = "HL7 FHIR STU3 and FDA text of the same HIBC example (read)"
HL7_UDI1 = "HL7 FHIR and US Core, Device example udi-1 (as quoted by public copies)"
HIBC_26 = "ANSI/HIBC 2.6 (as quoted by public copies)"
HIBC_FORMS = "ANSI/HIBC supplier labeling standard, lot and serial examples (structure and dates as quoted by a copy)"
IDAUTOMATION = "idautomation.com, HIBC check character table (read)"


def ok(text: str, today: date = TODAY) -> DeviceIdentifier:
    result = parse(text, today)
    assert isinstance(result, DeviceIdentifier), result
    return result


def fault(text: str, today: date = TODAY) -> ScanFault:
    result = parse(text, today)
    assert isinstance(result, ScanFault), result
    return result


def parts(read: DeviceIdentifier) -> dict[str, object]:
    """Everything the label says, without what this project adds."""
    said = {
        "issuer": read.issuer,
        "device": read.device,
        "lot": read.lot,
        "serial": read.serial,
        "made": read.made,
        "expires": read.expires,
        "hour": read.expires_hour,
        "donation": read.donation,
    }
    return {name: value for name, value in said.items() if value is not None}


# ---- whole identifiers ----

FDA_GS1 = "(01)51022222233336(11)141231(17)150707(10)A213B1(21)1234"
IMDRF_GS1 = "(01)09506000117843(11)141231(17)201231(10)1234AB(21)5678CD"
HL7_GS1 = "(01)09504000059118(17)141120(10)7654321D(21)10987654d321"
HIBC_WITH_SPACE = "+H123PARTNO1234567890120/$$420020216LOT123456789012345/SXYZ4567890123 45678/16D20130202C"
FDA_ISBT = "=/A9999XYZ100T0944=,000025=A99971312345600=>014032=}013032&,1000000000000XYZ123"
FDA_ISBT_2025 = "=/A9999XYZ100T0476=,000025=A99972312345600=>025032=}023032&,1000000000000XYZ123"

FDA_GS1_PARTS = {
    "issuer": "GS1",
    "device": "51022222233336",
    "made": date(2014, 12, 31),
    "expires": date(2015, 7, 7),
    "lot": "A213B1",
    "serial": "1234",
}
IMDRF_GS1_PARTS = {
    "issuer": "GS1",
    "device": "09506000117843",
    "made": date(2014, 12, 31),
    "expires": date(2020, 12, 31),
    "lot": "1234AB",
    "serial": "5678CD",
}
HL7_GS1_PARTS = {
    "issuer": "GS1",
    "device": "09504000059118",
    "expires": date(2014, 11, 20),
    "lot": "7654321D",
    "serial": "10987654d321",
}

WHOLE = [
    (FDA_2017, FDA_GS1, FDA_GS1_PARTS),
    (IMDRF, IMDRF_GS1, IMDRF_GS1_PARTS),
    (HL7_UDI1, HL7_GS1, HL7_GS1_PARTS),
    (HL7_UDI1 + ", braces as DSTU2 prints them", HL7_GS1.replace("(", "{").replace(")", "}"), HL7_GS1_PARTS),
    (
        HL7_STU3,
        HIBC_WITH_SPACE,
        {
            "issuer": "HIBC",
            "device": "H123PARTNO1234567890120",
            "expires": date(2020, 2, 2),
            "hour": 16,
            "lot": "LOT123456789012345",
            "serial": "XYZ4567890123 45678",
            "made": date(2013, 2, 2),
        },
    ),
    (
        FDA_2017,
        FDA_ISBT,
        {
            "issuer": "ICCBBA",
            "device": "A9999XYZ100T0944",
            "serial": "000025",
            "donation": "A999713123456",
            "expires": date(2014, 2, 1),
            "made": date(2013, 2, 1),
            "lot": "000000000000XYZ123",
        },
    ),
    (
        FDA_2025,
        FDA_ISBT_2025,
        {
            "issuer": "ICCBBA",
            "device": "A9999XYZ100T0476",
            "serial": "000025",
            "donation": "A999723123456",
            "expires": date(2025, 2, 1),
            "made": date(2023, 2, 1),
            "lot": "000000000000XYZ123",
        },
    ),
    (
        HIBC_26 + " section 2.2.1.1",
        "+A99912345/$$52001510X33",
        {"issuer": "HIBC", "device": "A99912345", "expires": date(2020, 1, 15), "lot": "10X3"},
    ),
    (
        HIBC_26 + " section 4.3.3",
        "+A123BJC5D6E71/$$52001510X3C",
        {"issuer": "HIBC", "device": "A123BJC5D6E71", "expires": date(2020, 1, 15), "lot": "10X3"},
    ),
    (
        HIBC_26 + " sections 4.3.1 and 4.3.2, figures 1 and 5: two linked bar codes",
        "*+A123BJC5D6E71G*\n*+$$52001510X3GD*",
        {"issuer": "HIBC", "device": "A123BJC5D6E71", "expires": date(2020, 1, 15), "lot": "10X3"},
    ),
    (
        HIBC_26 + ", date of manufacture and serial number behind the lot",
        "+A99912345/$$52001510X3/16D20111212/S77DEFG457",
        {
            "issuer": "HIBC",
            "device": "A99912345",
            "expires": date(2020, 1, 15),
            "lot": "10X3",
            "made": date(2011, 12, 12),
            "serial": "77DEFG45",
        },
    ),
    (
        HIBC_26 + ", lot, date of manufacture, expiry as 14D",
        "+A99912345/$10X3/16D20111231/14D202001313",
        {
            "issuer": "HIBC",
            "device": "A99912345",
            "lot": "10X3",
            "made": date(2011, 12, 31),
            "expires": date(2020, 1, 31),
        },
    ),
    (
        HIBC_26 + ", with a quantity",
        "+A99912349/$10X3/16D20111231/14D20200131/Q500Z",
        {
            "issuer": "HIBC",
            "device": "A99912349",
            "lot": "10X3",
            "made": date(2011, 12, 31),
            "expires": date(2020, 1, 31),
        },
    ),
    (
        HIBC_26 + ", expiry as YYMMDD and serial number",
        "+J123AQ3451/$$3231231BC34567/S4012R",
        {
            "issuer": "HIBC",
            "device": "J123AQ3451",
            "expires": date(2023, 12, 31),
            "lot": "BC34567",
            "serial": "4012",
        },
    ),
    (HIBC_26 + " appendix B.2.0", "+A123BJC5D6E71G", {"issuer": "HIBC", "device": "A123BJC5D6E71"}),
    (HIBC_26 + " appendix C.3, figure C5", "+H123ABC01234567890D", {"issuer": "HIBC", "device": "H123ABC01234567890"}),
    (
        "HIBCC, Guide to GUDID device identifiers, the DI without flag and check character (as quoted by a copy)",
        "+A999ABC1230V",
        {"issuer": "HIBC", "device": "A999ABC1230"},
    ),
    (IDAUTOMATION, "+A123ABCDEFGHI1234567891E", {"issuer": "HIBC", "device": "A123ABCDEFGHI1234567891"}),
    (
        IMDRF + ", serial number behind $+",
        "+A999ABC123DE0/$+1234567Y",
        {"issuer": "HIBC", "device": "A999ABC123DE0", "serial": "1234567"},
    ),
]


@pytest.mark.parametrize(("source", "text", "expected"), WHOLE, ids=[text[:28] for _, text, _ in WHOLE])
def test_published_example_gives_its_parts(source: str, text: str, expected: dict[str, object]) -> None:
    assert parts(ok(text)) == expected, source


GS1_SCANS = [
    ("separators", "0151022222233336111412311715070710A213B1\x1d211234", FDA_GS1_PARTS),
    ("leading separator", "\x1d0151022222233336111412311715070710A213B1\x1d211234\x1d", FDA_GS1_PARTS),
    ("DataMatrix prefix", "]d20109506000117843111412311720123110" + "1234AB\x1d215678CD", IMDRF_GS1_PARTS),
    ("GS1-128 prefix", "]C10109506000117843111412311720123110" + "1234AB\x1d215678CD", IMDRF_GS1_PARTS),
    ("separator as HL7 prints it", "01095040000591181714112010" + "7654321D↔2110987654d321", HL7_GS1_PARTS),
    ("two bar codes", "]C10109504000059118\n]C11714112010" + "7654321D\x1d2110987654d321", HL7_GS1_PARTS),
    ("blanks as on a label", "(01) 0 9504000 05911 8\n(17) 141120 (10) 7654321D (21) 10987654d321", HL7_GS1_PARTS),
]


@pytest.mark.parametrize(("form", "text", "expected"), GS1_SCANS, ids=[form for form, _, _ in GS1_SCANS])
def test_published_examples_as_scanners_send_them(form: str, text: str, expected: dict[str, object]) -> None:
    """The forms are derived from the published examples: GS1 General Specifications 7.8 (prefixes, separators)."""
    read = ok(text)
    assert parts(read) == expected, form
    assert read.notes == ()


def test_scan_without_separators_is_refused_or_doubted() -> None:
    """Derived from the published examples: a lot has at most 20 characters, so some scans can only be doubted."""
    assert "separators between parts" in fault("01095040000591181714112010" + "7654321D2110987654d321").todo
    doubted = ok("0109506000117843111412311720123110" + "1234AB215678CD")
    assert doubted.lot == "1234AB215678CD"
    assert "the lot may have taken in a part that follows it" in doubted.notes[0]


# ---- GS1 check digit ----

CHECK_DIGITS = [
    ("GS1, How to calculate a check digit manually (read): sum 57, 60 - 57", "629104150021", 3),
    ("GS1 Sweden (read)", "730001100001", 7),
    ("GS1 India (read)", "890400021003", 7),
    ("GS1 UK, studylib 18603056 (read): the sum is a multiple of 10", "501234567890", 0),
    ("GS1 UK, studylib 18603056 (read)", "501234567421", 6),
    ("UPC worked example (read)", "03600024145", 7),
    (FDA_2017, "5102222223333", 6),
    (IMDRF, "0950600011784", 3),
    (HL7_UDI1, "0950400005911", 8),
]


@pytest.mark.parametrize(("source", "body", "digit"), CHECK_DIGITS, ids=[body for _, body, _ in CHECK_DIGITS])
def test_check_digit_of_published_product_numbers(source: str, body: str, digit: int) -> None:
    assert gs1.check_digit(body) == digit, source
    whole = (body + str(digit)).zfill(14)
    assert ok(f"(01){whole}").device == whole
    for other in set(range(10)) - {digit}:
        refusal = fault(f"(01){whole[:-1]}{other}")
        assert f"check digit {other}; {digit} was expected" in refusal.message, source


def test_check_digit_agrees_with_biip() -> None:
    from biip.checksums import gs1_standard_check_digit

    for number in range(0, 10**13, 3 * 10**10 + 7):
        body = str(number).zfill(13)
        assert gs1.check_digit(body) == gs1_standard_check_digit(body)


@pytest.mark.parametrize("text", [FDA_GS1, IMDRF_GS1, HL7_GS1])
def test_each_altered_check_digit_of_an_example_is_refused(text: str) -> None:
    right = text[17]
    raw = text.replace("(21)", "\x1d21").replace("(", "").replace(")", "")
    for other in set("0123456789") - {right}:
        for altered in (text[:17] + other + text[18:], raw[:15] + other + raw[16:]):
            assert f"check digit {other}; {right} was expected" in fault(altered).message


# ---- HIBC check character ----

CHECK_CHARACTERS = [
    (HIBC_26 + " appendix B.2.0: 145 modulo 43 is 16", "+A123BJC5D6E71", "G"),
    (HIBC_26 + " figure 5", "+$$52001510X3G", "D"),
    (HIBC_26 + " section 4.3.3", "+A123BJC5D6E71/$$52001510X3", "C"),
    (HIBC_26 + " section 2.2.1.1", "+A99912345/$$52001510X3", "3"),
    (HIBC_26 + " figure C5", "+H123ABC01234567890", "D"),
    ("HIBCC, Guide to GUDID device identifiers (as quoted by a copy)", "+A999ABC1230", "V"),
    (IDAUTOMATION, "+A123ABCDEFGHI1234567891", "E"),
    (IMDRF, "+A999ABC123DE0/$+1234567", "Y"),
    ("derived: IMDRF prints Y for this one, a misprint", "+A999ABC123DE1/$+1234567", "Z"),
    (HL7_STU3, HIBC_WITH_SPACE[:-1], "C"),
    ("derived: the same with the space left out", HIBC_WITH_SPACE[:-1].replace(" ", ""), "H"),
]


@pytest.mark.parametrize(("source", "body", "character"), CHECK_CHARACTERS, ids=[c[1][:30] for c in CHECK_CHARACTERS])
def test_check_character_of_published_texts(source: str, body: str, character: str) -> None:
    assert hibc.check_character(body) == character, source


HIBC_WHOLE = [text for _, text, said in WHOLE if said["issuer"] == "HIBC" and "\n" not in text]


@pytest.mark.parametrize("text", HIBC_WHOLE)
def test_each_altered_check_character_of_an_example_is_refused(text: str) -> None:
    right = text[-1]
    others = [character for character in hibc.ALPHABET if character != right]
    assert len(others) == 42
    for other in others:
        found = "a space" if other == " " else other
        assert f"is {found}; {right} was expected" in fault(text[:-1] + other).message


def test_code_39_values_of_the_alphabet() -> None:
    """Source: ANSI/HIBC 2.6 appendix B, table of values (as quoted by a copy)."""
    values = {"0": 0, "9": 9, "A": 10, "Z": 35, "-": 36, ".": 37, " ": 38, "$": 39, "/": 40, "+": 41, "%": 42}
    assert {character: hibc.ALPHABET.index(character) for character in values} == values
    assert len(set(hibc.ALPHABET)) == 43


def test_space_lost_inside_a_hibc_text_is_noticed() -> None:
    """FHIR R5 prints this example without its space and still with C (HL7, read): a good negative test."""
    without = HIBC_WITH_SPACE.replace(" ", "")
    refusal = fault(without)
    assert "is C; H was expected" in refusal.message
    assert "a space inside the text counts" in refusal.todo
    assert ok(without[:-1] + "H").serial == "XYZ456789012345678"


def test_imdrf_misprint_is_refused() -> None:
    assert "is Y; Z was expected" in fault("+A999ABC123DE1/$+1234567Y").message


# The dates and lots are those of the standard's list; it prints L and C for link and check character, which are
# filled in here by computing them (derived).
FORMS = [
    ("+05271", {"expires": date(2005, 9, 28)}),
    ("+$3C001", {"lot": "3C001"}),
    ("+$$09053C001", {"expires": date(2005, 9, 30), "lot": "3C001"}),
    ("+$$20928053C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$30509283C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$4050928223C001", {"expires": date(2005, 9, 28), "hour": 22, "lot": "3C001"}),
    ("+$$5052713C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$605271223C001", {"expires": date(2005, 9, 28), "hour": 22, "lot": "3C001"}),
    ("+$$73C001", {"lot": "3C001"}),
    ("+$$82409053C001", {"expires": date(2005, 9, 30), "lot": "3C001"}),
    ("+$$82420928053C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$82430509283C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$8244050928223C001", {"expires": date(2005, 9, 28), "hour": 22, "lot": "3C001"}),
    ("+$$8245052713C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$824605271223C001", {"expires": date(2005, 9, 28), "hour": 22, "lot": "3C001"}),
    ("+$$82473C001", {"lot": "3C001"}),
    ("+$$824", {}),
    ("+$$90010009053C001", {"expires": date(2005, 9, 30), "lot": "3C001"}),
    ("+$$90010020928053C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$90010030509283C001", {"expires": date(2005, 9, 28), "lot": "3C001"}),
    ("+$$9001004050928223C001", {"expires": date(2005, 9, 28), "hour": 22, "lot": "3C001"}),
    ("+$+0001", {"serial": "0001"}),
    ("+$$+09050001", {"expires": date(2005, 9, 30), "serial": "0001"}),
    ("+$$+20928050001", {"expires": date(2005, 9, 28), "serial": "0001"}),
    ("+$$+30509280001", {"expires": date(2005, 9, 28), "serial": "0001"}),
    ("+$$+4050928220001", {"expires": date(2005, 9, 28), "hour": 22, "serial": "0001"}),
    ("+$$+5052710001", {"expires": date(2005, 9, 28), "serial": "0001"}),
    ("+$$+605271220001", {"expires": date(2005, 9, 28), "hour": 22, "serial": "0001"}),
    ("+$$+70001", {"serial": "0001"}),
]


@pytest.mark.parametrize(("secondary", "expected"), FORMS, ids=[form for form, _ in FORMS])
def test_every_secondary_form_of_hibc(secondary: str, expected: dict[str, object]) -> None:
    product = "+A123BJC5D6E71G"
    linked = secondary + "G"
    linked += hibc.check_character(linked)
    joined = product[:-1] + "/" + secondary[1:]
    joined += hibc.check_character(joined)
    whole = {"issuer": "HIBC", "device": "A123BJC5D6E71", **expected}
    for text in (f"{product}\n{linked}", f"{linked}\n{product}", joined):
        assert parts(ok(text)) == whole, HIBC_FORMS


def test_link_character_ties_two_bar_codes_to_one_label() -> None:
    """Source: ANSI/HIBC 2.6 appendix E1.3 (as quoted by a copy): G of the product links, D checks."""
    assert "holds lot or dates but no product" in fault("+$$52001510X3GD").message
    assert "check character G; V was expected" in fault("+A999ABC1230V\n+$$52001510X3GD").message


def test_space_as_check_character_is_printed_as_underscore() -> None:
    """Source: HIBCC, terms used (read). The text is made up so that the sum gives 38 (derived)."""
    body = next(text for text in (f"+A999TEST{x}0" for x in hibc.ALPHABET[:36]) if hibc.check_character(text) == " ")
    caption = ok(f"*{body}_*")
    assert caption == ok(body + " ")
    assert caption.carrier == body + "_"
    assert "expected" in fault(body).message


# ---- dates ----


@pytest.mark.parametrize(
    ("digits", "day"),
    [("130200", date(2013, 2, 28)), ("160200", date(2016, 2, 29))],
)
def test_day_00_is_the_end_of_the_month(digits: str, day: date) -> None:
    """Source: GS1 General Specifications 3.4 (as quoted on rubydoc.info)."""
    assert ok(f"(01)51022222233336(17){digits}").expires == day
    assert ok(f"(01)51022222233336(11){digits}").made == day


@pytest.mark.parametrize(("made", "warned"), [("241231", False), ("241200", False), ("250101", True), ("250100", True)])
def test_day_00_is_warned_of_on_labels_made_from_2025(made: str, warned: bool) -> None:
    """Source: GS1 Sweden, GS1 UK, GSCN 21-040 (read): a real day on healthcare labels from 2025-01-01."""
    read = ok(f"(01)51022222233336(11){made}(17)270200")
    assert read.expires == date(2027, 2, 28)
    assert any("read as the last day of the month, 2027-02-28" in note for note in read.notes)
    assert any("2025-01-01" in note for note in read.notes) is warned


@pytest.mark.parametrize(
    ("this_year", "two_digits", "year"),
    [
        (2026, 75, 2075),
        (2026, 76, 2076),
        (2026, 77, 1977),
        (2026, 78, 1978),
        (2026, 26, 2026),
        (2026, 0, 2000),
        (1999, 49, 2049),
        (1999, 50, 1950),
        (2051, 1, 2101),
        (2051, 2, 2002),
        (2000, 50, 2050),
        (2000, 51, 1951),
    ],
)
def test_century_of_two_digit_years(this_year: int, two_digits: int, year: int) -> None:
    """Source: GS1 General Specifications, 49 years back to 50 ahead (range read; arithmetic from memory)."""
    assert full_year(two_digits, date(this_year, 7, 1)) == year
    read = ok(f"(01)51022222233336(17){two_digits:02}0115", date(this_year, 7, 1))
    assert read.expires == date(year, 1, 15)


@given(st.integers(0, 99), st.dates(date(1900, 1, 1), date(2200, 1, 1)))
def test_century_window(two_digits: int, today: date) -> None:
    year = full_year(two_digits, today)
    assert year % 100 == two_digits
    assert -49 <= year - today.year <= 50


@pytest.mark.parametrize("digits", ["141331", "140231", "150229", "140001", "14123", "1412311"])
def test_dates_that_are_none_are_refused(digits: str) -> None:
    assert "expir" in fault(f"(01)51022222233336(17){digits}").message


def test_usable_through_the_end_of_the_day_of_expiry() -> None:
    """Common practice on labels, from memory; with an hour, only until it begins (derived, the cautious reading)."""
    zone = timezone(timedelta(hours=-6))
    whole_day, by_hour = ok(FDA_GS1), ok(HIBC_WITH_SPACE)
    assert not whole_day.expired(datetime(2015, 7, 7, 23, 59, tzinfo=zone))
    assert whole_day.expired(datetime(2015, 7, 8, 0, 0, tzinfo=zone))
    assert not by_hour.expired(datetime(2020, 2, 2, 15, 59, tzinfo=zone))
    assert by_hour.expired(datetime(2020, 2, 2, 16, 0, tzinfo=zone))


# ---- the two GS1 readers ----

VALUES = st.text("!\"%&'*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcxyz)", min_size=0, max_size=22)
# Two-digit years up to 60 lie in this century for every clock from 2024 to 2049: biip asks the clock.
DATES = st.builds("{:02}{:02}{:02}".format, st.integers(0, 60), st.integers(0, 13), st.integers(0, 32))
NUMBERS = st.integers(0, 10**13 - 1).map(lambda n: str(n).zfill(13)).map(lambda b: b + str(gs1.check_digit(b)))
PAIRS = st.builds(
    lambda number, chosen: [("01", number), *chosen.items()],
    NUMBERS | st.text("0123456789", min_size=12, max_size=15),
    st.fixed_dictionaries({}, optional={"10": VALUES, "11": DATES, "17": DATES, "21": VALUES}),
)


def bracketed(pairs: list[tuple[str, str]]) -> str:
    return "".join(f"({identifier}){value}" for identifier, value in pairs)


@settings(max_examples=300, deadline=None)
@given(PAIRS)
def test_own_reader_and_biip_agree(pairs: list[tuple[str, str]]) -> None:
    """The pattern reader against biip as the reference: what both accept, what both refuse, and every part.

    biip is given the raw scan: before 5.2 its reader of brackets cut values at the first sign and said nothing.
    """
    from biip import ParseError
    from biip.gs1_messages import GS1Message

    mine = parse(bracketed(pairs), date(2026, 3, 4))
    try:
        theirs = GS1Message.parse("\x1d".join(identifier + value for identifier, value in pairs)).element_strings
    except ParseError:
        assert isinstance(mine, ScanFault)
        return
    by_identifier = {element.ai.ai: element for element in theirs}
    if by_identifier["01"].gtin is None:
        assert isinstance(mine, ScanFault)
        return
    assert isinstance(mine, DeviceIdentifier), mine
    assert mine.device == by_identifier["01"].value
    assert mine.lot == (by_identifier["10"].value if "10" in by_identifier else None)
    assert mine.serial == (by_identifier["21"].value if "21" in by_identifier else None)
    assert mine.made == (by_identifier["11"].date if "11" in by_identifier else None)
    assert mine.expires == (by_identifier["17"].date if "17" in by_identifier else None)


@settings(max_examples=300, deadline=None)
@given(PAIRS.map(bracketed) | st.text("()0123456789AB", max_size=40).map(lambda tail: "(01)51022222233336" + tail))
def test_patterns_and_library_split_alike(text: str) -> None:
    def split(library: bool) -> object:
        try:
            return gs1.bracketed(text, library=library)
        except Refused:
            return "refused"

    by_library = split(True)
    # Only the date's digits differ: biip's pattern already knows months and days, ours leaves them to the calendar.
    by_pattern = split(False)
    if by_library != by_pattern:
        assert by_library == "refused"
        assert isinstance(parse(text, TODAY), ScanFault)
