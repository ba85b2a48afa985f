"""A schedule as a CSV file: what comes back, and every way it can be wrong."""

import io

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile

from hullbook.hulls import services
from hullbook.hulls.forms import SCHEDULE_CSV_COLUMNS, ScheduleCsvForm, read_schedule, schedule_csv
from hullbook.hulls.models import ScheduleRevision
from hullbook.hulls.services import GivenLine, GivenZone
from tests.cast import MORNING
from tests.hulls.factories import Berth, lines, make_berth, zones

pytestmark = pytest.mark.django_db

HEAD = ",".join(SCHEDULE_CSV_COLUMNS)
KEEL = "1,Keel,4.0,0,620,0,10,both,GB-800,+-45,50,yes"


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def file(*rows: str, head: str = HEAD) -> bytes:
    return "\n".join((head, *rows)).encode()


def sentences(content: bytes) -> list[str]:
    with pytest.raises(ValidationError) as wrong:
        read_schedule(io.BytesIO(content))
    return wrong.value.messages


def test_a_schedule_comes_back_from_its_csv_to_the_letter(berth: Berth) -> None:
    text = schedule_csv(berth.revision)
    back = read_schedule(io.BytesIO(text.encode()))
    assert back.lines == lines(berth.shelf)
    assert back.zones == zones()


def test_what_a_spreadsheet_would_work_out_is_neutral_in_the_csv_and_comes_back(berth: Berth) -> None:
    revision: ScheduleRevision = services.begin_revision(
        boat_model=berth.model, part_name="Deck", drawn_by="EL", at=MORNING
    )
    zone = GivenZone("=SUM(A1)", 4.125, 0.5, 620.2, -0.5, 10.0, "port")
    line = GivenLine(7, "=SUM(A1)", berth.shelf.biax, "-45", 0.0, False)
    services.write_revision(revision=revision, zones=[zone], lines=[line])
    text = schedule_csv(revision)
    assert not any(cell.startswith(("=", "+", "@")) for cell in text.splitlines()[1].split(","))
    back = read_schedule(io.BytesIO(text.encode()))
    assert (back.zones, back.lines) == ([zone], [line])


def test_columns_may_stand_in_any_order_and_numbers_may_carry_their_unit(berth: Berth) -> None:
    head = ",".join(reversed(SCHEDULE_CSV_COLUMNS))
    row = "yes,50 mm,+-45,GB-800,both,10,0,0.62 m,0,4 m2,Keel,1"
    back = read_schedule(io.BytesIO(file(row, head=head)))
    assert back.zones == [zones()[0]]
    assert back.lines[0].lap_mm == 50.0


def test_an_empty_lap_is_none_and_an_empty_side_is_both_sides(berth: Berth) -> None:
    back = read_schedule(io.BytesIO(file("1,Keel,4.0,0,620,0,10,,PV-80-20,,,yes")))
    assert back.lines == [GivenLine(1, "Keel", berth.shelf.core)]
    assert back.zones == [zones()[0]]


def test_a_byte_order_mark_and_windows_line_ends_are_no_matter(berth: Berth) -> None:
    content = b"\xef\xbb\xbf" + file(KEEL).replace(b"\n", b"\r\n")
    assert read_schedule(io.BytesIO(content)).lines[0].material == berth.shelf.biax


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("1,Keel,4.0,0,620,0,10,both,GB-900,+-45,50,yes", 'Row 2, column material: "GB-900" is not accepted'),
        ("1,Keel,4.0,0,620,0,10,both,VE-10,,0,yes", 'Row 2, column material: "VE-10" is not accepted'),
        ("1,,4.0,0,620,0,10,both,GB-800,+-45,50,yes", "Row 2, column zone: nothing is not accepted"),
        ("one,Keel,4.0,0,620,0,10,both,GB-800,+-45,50,yes", 'column line: "one" is not accepted; give a whole number'),
        ("1.5,Keel,4.0,0,620,0,10,both,GB-800,+-45,50,yes", "give a whole number from 1 to 2000"),
        ("2001,Keel,4.0,0,620,0,10,both,GB-800,+-45,50,yes", "give a whole number from 1 to 2000"),
        ("1,Keel,,0,620,0,10,both,GB-800,+-45,50,yes", "Row 2, column area_m2: nothing is not accepted"),
        ("1,Keel,-4,0,620,0,10,both,GB-800,+-45,50,yes", "Row 2, column area_m2"),
        ("1,Keel,4 kg,0,620,0,10,both,GB-800,+-45,50,yes", "the unit may be m2"),
        ("1,Keel,nan,0,620,0,10,both,GB-800,+-45,50,yes", "give one number"),
        ("1,Keel,4.0,0,62000,0,10,both,GB-800,+-45,50,yes", "Row 2, column girth_to_mm"),
        ("1,Keel,4.0,0,620,0,10,inside,GB-800,+-45,50,yes", '"inside" is not accepted; give both, port, starboard'),
        ("1,Keel,4.0,0,620,0,10,both,GB-800,along,50,yes", '"along" is not accepted; give 0, 90'),
        ("1,Keel,4.0,0,620,0,10,both,GB-800,=1+1,50,yes", "Row 2, column angle_deg"),
        ("1,=cmd(),4.0,0,620,0,10,both,GB-800,0,50,yes", "put an apostrophe before it"),
        ("1,Keel,4.0,0,620,0,10,both,GB-800,+-45,5000,yes", "Row 2, column lap_mm"),
        ("1,Keel,4.0,0,620,0,10,both,GB-800,+-45,50,perhaps", '"perhaps" is not accepted; give yes, no'),
        ("1,Keel,4.0,0,620,0,10,both,GB-800,+-45,50", "Row 2 has 11 cells, not 12"),
        ("1,Ke\0el,4.0,0,620,0,10,both,GB-800,+-45,50,yes", "NUL"),
        ('1,"Keel,4.0,0,620,0,10,both,GB-800,+-45,50,yes', "cannot be read"),
    ],
)
def test_a_wrong_cell_is_named_by_row_and_column(berth: Berth, row: str, words: str) -> None:
    assert words in " ".join(sentences(file(row)))


def test_a_zone_with_two_areas_is_inconsistent_and_both_rows_are_named(berth: Berth) -> None:
    other = "2,Keel,4.2,0,620,0,10,both,GU-600,0,50,yes"
    assert sentences(file(KEEL, other)) == ["Row 3, column area_m2: zone Keel has 4.2 here, 4.0 in row 2; give one."]


def test_a_line_number_that_is_there_twice_is_named(berth: Berth) -> None:
    assert sentences(file(KEEL, KEEL)) == ["Line 1 is there 2 times; each line has a number of its own."]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (HEAD.replace("zone,", "").encode() + b"\n1", "Missing columns: zone."),
        (HEAD.encode() + b",colour\n1", "Columns nobody knows: colour."),
        (HEAD.encode() + b",zone\n1", "Columns given twice: zone."),
        (HEAD.replace(",", ";").encode(), "give commas"),
        (HEAD.encode(), "There is no line in it"),
        (b"", "no line in it"),
        (file("1,K\xfcste").decode().encode("latin-1"), "Row 2 is not in UTF-8"),
        (file(KEEL).decode().encode("utf-16"), "not in UTF-8"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not in UTF-8"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused_in_words(berth: Berth, content: bytes, words: str) -> None:
    assert words in " ".join(sentences(content))


def test_more_than_two_thousand_lines_are_refused_at_the_first_too_many(berth: Berth) -> None:
    rows = [KEEL.replace("1,", f"{number},", 1) for number in range(1, 2002)]
    assert "more than 2 MB or 2000 lines" in sentences(file(*rows))[0]


def test_a_file_of_more_than_two_megabytes_is_refused(berth: Berth) -> None:
    heavy = SimpleUploadedFile("schedule.csv", b"x" * (2 * 1024 * 1024 + 1))
    form = ScheduleCsvForm({}, {"file": heavy})
    assert not form.is_valid()
    assert "more than 2 MB" in form.errors["file"][0]


def test_twenty_sentences_are_enough_at_a_time(berth: Berth) -> None:
    told = sentences(file(*["x,Keel,4.0,0,620,0,10,both,GB-800,+-45,50,yes"] * 30))
    assert len(told) == 21
    assert told[-1] == "There may be more; mend these first."
