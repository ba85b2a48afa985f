"""Photos that a tablet brings in pieces: whole or not at all, made anew, and seen only by who may see the hull."""

import datetime as dt
import os
import uuid
import zlib
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from struct import pack
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from hullbook.hulls import services
from hullbook.hulls.models import Photo
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from tests.cast import told
from tests.hulls.factories import Berth, bring_photo, make_berth, picture

pytestmark = pytest.mark.django_db

JSON = {"Accept": "application/json"}


@pytest.fixture(autouse=True)
def _files_of_its_own(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"


@pytest.fixture
def berth() -> Berth:
    return make_berth()


@pytest.fixture
def client(berth: Berth) -> Client:
    client = Client()
    client.force_login(berth.shop.builder)
    return client


@pytest.fixture
def of(berth: Berth) -> Entry:
    return berth.hull.entry


def file_of(photo: Photo) -> bytes:
    with default_storage.open(photo.path) as file:
        content: bytes = file.read()
        return content


class Bringing:
    """A tablet that brings one photo."""

    def __init__(self, client: Client, of: Entry | None, content: bytes) -> None:
        self.client, self.content = client, content
        self.digest = sha256(content).hexdigest()
        self.fields = {
            "entry_id": str(uuid.uuid4()),
            "of": str(of.entry_id if of else uuid.uuid4()),
            "size_bytes": str(len(content)),
            "original_sha256": self.digest,
            "claimed_at": "2026-06-15T09:30:00.000Z",
        }

    @property
    def count(self) -> int:
        return -(-len(self.content) // services.PIECE_BYTES)

    def held(self) -> list[int]:
        held: list[int] = self.client.get(reverse("hulls:photo-pieces", args=[self.digest]), headers=JSON).json()[
            "pieces"
        ]
        return held

    def piece(self, number: int, content: bytes | None = None, size: int | None = None, digest: str = "") -> Any:
        start = number * services.PIECE_BYTES
        return self.client.post(
            reverse("hulls:photo-piece", args=[digest or self.digest, number]),
            self.content[start : start + services.PIECE_BYTES] if content is None else content,
            content_type="application/octet-stream",
            headers={**JSON, "HB-Size": str(len(self.content) if size is None else size)},
        )

    def all_pieces(self) -> None:
        for number in range(self.count):
            assert self.piece(number).status_code == 200

    def log(self) -> Any:
        return self.client.post(reverse("hulls:photo-log", args=[self.digest]), self.fields, headers=JSON)


def test_a_photo_is_brought_in_pieces_in_any_order_and_twice_and_is_one_entry(client: Client, of: Entry) -> None:
    photo = Bringing(client, of, picture(1500, 1200, quality=95))
    assert photo.count > 2
    for number in (*reversed(range(photo.count)), 1, 0):
        assert photo.piece(number).status_code == 200
    assert photo.held() == list(range(photo.count))
    first, again = photo.log(), photo.log()
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json()["entry"] == again.json()["entry"]
    row = Photo.objects.get()
    assert (row.sent_sha256, row.of_id, row.width_px, row.height_px) == (photo.digest, of.pk, 1500, 1200)
    assert row.claimed_at == dt.datetime(2026, 6, 15, 9, 30, tzinfo=dt.UTC)
    assert photo.held() == []
    assert checked_book().is_whole


def test_what_is_kept_is_named_by_its_own_hash_which_the_chain_holds(client: Client, of: Entry) -> None:
    photo = Bringing(client, of, picture())
    photo.all_pieces()
    photo.log()
    row = Photo.objects.select_related("entry").get()
    kept = file_of(row)
    assert sha256(kept).hexdigest() == row.kept_sha256
    assert row.size_bytes == len(kept)
    assert row.kept_sha256 in row.entry.body


def test_a_photo_waits_for_the_entry_it_is_of(client: Client, of: Entry) -> None:
    photo = Bringing(client, None, picture())
    photo.all_pieces()
    answer = photo.log()
    assert (answer.status_code, answer.json()) == (425, {"why": "entry"})
    assert not Photo.objects.exists()
    photo.fields["of"] = str(of.entry_id)
    assert photo.log().status_code == 201


def test_a_photo_whose_pieces_are_not_all_here_is_asked_for_again(client: Client, of: Entry) -> None:
    photo = Bringing(client, of, picture(1500, 1200, quality=95))
    photo.piece(0)
    photo.piece(photo.count - 1)
    answer = photo.log()
    assert (answer.status_code, answer.json()) == (425, {"why": "pieces"})
    assert photo.held() == [0, photo.count - 1]


def test_pieces_that_are_not_the_photo_they_were_said_to_be_are_let_go_of(client: Client, of: Entry) -> None:
    content = picture()
    head = Entry.objects.count()
    for number in range(40):
        photo = Bringing(client, of, content)
        spoilt = bytearray(content)
        spoilt[len(content) * number // 40] ^= 1 + number
        photo.piece(0, bytes(spoilt))
        assert photo.log().json() == {"why": "pieces"}
        assert photo.held() == []
    assert Entry.objects.count() == head


def test_control_without_the_whole_hash_a_spoilt_photo_would_be_kept(of: Entry) -> None:
    """A flipped byte in the picture's data still decodes: only the hash shows it."""
    content = bytearray(picture())
    content[len(content) // 2] ^= 1
    digest = sha256(content).hexdigest()
    services.keep_piece(device="T", digest=digest, number=0, size_bytes=len(content), content=bytes(content))
    assert services.photo_from_pieces(device="T", digest=digest, size_bytes=len(content)).width_px == 640


@pytest.mark.parametrize("share", [number / 10 for number in range(10)])
def test_a_photo_cut_short_is_no_photo(client: Client, of: Entry, share: float) -> None:
    whole = picture()
    cut = whole[: max(1, int(len(whole) * share))]
    photo = Bringing(client, of, cut)
    photo.all_pieces()
    answer = photo.log()
    assert answer.status_code == 422
    assert "does not open" in answer.json()["problems"][""]
    assert photo.held() == []
    assert not Photo.objects.exists()


def test_a_piece_has_the_size_it_must_have_and_no_more_of_it_is_read(client: Client, of: Entry) -> None:
    photo = Bringing(client, of, picture(1500, 1200, quality=95))
    assert photo.piece(0, b"x" * 10).status_code == 422
    assert photo.piece(0, b"x" * 3_000_000).status_code == 422
    assert photo.piece(photo.count, b"x").status_code == 422
    assert photo.piece(0, size=0).status_code == 422
    assert photo.held() == []


def test_a_photo_over_15_mb_is_refused_at_its_first_piece(client: Client, of: Entry) -> None:
    photo = Bringing(client, of, b"x" * services.PIECE_BYTES)
    answer = photo.piece(0, size=services.LARGEST_PICTURE_BYTES + 1)
    assert answer.status_code == 413
    assert "15" in answer.json()["problems"][""]
    assert photo.piece(0, size=10**11).status_code == 413
    assert photo.piece(0, size=services.LARGEST_PICTURE_BYTES).status_code == 200


def bomb(width: int, height: int) -> bytes:
    """A PNG whose head promises more points than a page of code can hold."""

    def part(name: bytes, content: bytes) -> bytes:
        return pack(">I", len(content)) + name + content + pack(">I", zlib.crc32(name + content))

    head = pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    rows = zlib.compress(bytes(width * 3 + 1) * min(height, 50))
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", rows) + part(b"IEND", b"")


@pytest.mark.parametrize(("width", "height"), [(12_000, 12_000), (40_000, 40_000), (8_000, 5_001)])
def test_a_picture_of_more_than_40_million_points_is_refused_by_its_head_alone(
    client: Client, of: Entry, width: int, height: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Image.Image, "load", lambda *_: pytest.fail("it was decoded"))
    photo = Bringing(client, of, bomb(width, height))
    photo.all_pieces()
    answer = photo.log()
    assert answer.status_code == 422
    assert "40 million" in answer.json()["problems"][""]


@pytest.mark.parametrize(
    "content", [b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"GIF89a" + bytes(400), b"%PDF-1.7", b"\0" * 50]
)
def test_what_is_no_jpeg_png_or_webp_is_no_photo(client: Client, of: Entry, content: bytes) -> None:
    photo = Bringing(client, of, content)
    photo.all_pieces()
    assert photo.log().status_code == 422
    assert not Photo.objects.exists()


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_photo_is_made_smaller_and_kept_as_jpeg(of: Entry, form: str) -> None:
    row = bring_photo(of, picture(3000, 1500, form), told=told("MO"))
    assert (row.width_px, row.height_px) == (2560, 1280)
    with Image.open(BytesIO(file_of(row))) as kept:
        assert (kept.format, kept.size) == ("JPEG", (2560, 1280))


def with_exif(taken_at: str, zone: str | None) -> bytes:
    words = Image.Exif()
    words[0x0112] = 6  # Exif 2.32, Orientation: turned a quarter to the right
    words[0x010F] = "an invented camera"
    own = words.get_ifd(0x8769)
    own[0x9003] = taken_at
    if zone:
        own[0x9011] = zone
    words.get_ifd(0x8825)[1] = "N"
    return picture(400, 300, exif=words)


def test_where_it_was_taken_is_gone_and_it_stands_upright(of: Entry) -> None:
    row = bring_photo(of, with_exif("2026:06:15 10:00:00", "+02:00"), told=told("MO"))
    with Image.open(BytesIO(file_of(row))) as kept:
        assert dict(kept.getexif()) == {}
        assert kept.size == (300, 400)
    assert row.claimed_at == dt.datetime(2026, 6, 15, 8, 0, tzinfo=dt.UTC)


def test_a_camera_that_names_no_zone_claims_nothing(of: Entry) -> None:
    assert bring_photo(of, with_exif("2026:06:15 10:00:00", None), told=told("MO")).claimed_at is None


def test_html_behind_a_picture_is_not_kept(of: Entry) -> None:
    row = bring_photo(of, picture() + b"<script>alert(1)</script>", told=told("MO"))
    assert b"<script" not in file_of(row)


def test_a_tablet_brings_200_photos_an_hour(client: Client, of: Entry, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "MOST_PHOTOS_AN_HOUR", 3)
    for number in range(2):
        photo = Bringing(client, of, picture(100 + number))
        photo.all_pieces()
        assert photo.log().status_code == 201
    begun = Bringing(client, of, picture(200))
    assert begun.piece(0).status_code == 200
    refused = Bringing(client, of, picture(300)).piece(0)
    assert (refused.status_code, refused["Retry-After"]) == (429, "600")
    assert begun.log().status_code == 201
    later = timezone.now() + dt.timedelta(hours=1, minutes=1)
    monkeypatch.setattr(timezone, "now", lambda: later)
    assert Bringing(client, of, picture(300)).piece(0).status_code == 200


def test_what_was_begun_and_never_ended_is_swept(client: Client, of: Entry) -> None:
    begun = Bringing(client, of, picture(1500, 1200, quality=95))
    begun.piece(0)
    folder = next(Path(default_storage.path("pieces")).glob("*/*"))
    week_ago = (timezone.now() - dt.timedelta(days=8)).timestamp()
    os.utime(folder, (week_ago, week_ago))
    Bringing(client, of, picture(200)).piece(0)
    assert begun.held() == []


def test_a_photo_is_seen_by_who_may_see_the_hull_and_under_that_hull_only(client: Client, of: Entry) -> None:
    row = bring_photo(of, picture(), told=told("MO"))
    where = reverse("hulls:photo", args=[of.about, row.pk])
    answer = client.get(where)
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert Image.open(BytesIO(answer.getvalue())).size == (640, 480)
    assert Client().get(where).status_code == 302
    assert client.get(reverse("hulls:photo", args=[of.about, of.pk])).status_code == 404


def test_a_photo_stands_at_its_entry_and_is_gone_when_struck_out(client: Client, berth: Berth, of: Entry) -> None:
    row = bring_photo(of, picture(), told=told("MO", at=timezone.now()))
    where = reverse("hulls:photo", args=[of.about, row.pk])
    page = reverse("hulls:entries", args=[of.about])
    assert where in client.get(page).content.decode()
    client.post(
        reverse("hulls:strike-out", args=[of.about, row.pk]), {"entry_id": uuid.uuid4(), "reason": "wrong hull"}
    )
    assert f'src="{where}"' not in client.get(page).content.decode()


def test_a_file_is_on_the_disk_before_its_entry_is_in_the_book(of: Entry, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = []
    kept = services.append

    def append(row: Any, *args: Any, **kwargs: Any) -> Any:
        seen.append(default_storage.exists(row.path))
        return kept(row, *args, **kwargs)

    monkeypatch.setattr(services, "append", append)
    bring_photo(of, picture(), told=told("MO"))
    assert seen == [True]


def test_photo_names_that_are_no_hash_lead_nowhere(client: Client) -> None:
    for name in ("../../secret_key", "0" * 63, "Z" * 64, "0" * 64 + "0"):
        assert client.get(f"/photos/{name}/", headers=JSON).status_code == 404
