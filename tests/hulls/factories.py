"""An invented 8.4 m pilot tender on an invented shelf: a small schedule, and hulls to build to it."""

import datetime as dt
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO

from PIL import Image

from hullbook.hulls import services
from hullbook.hulls.enums import BuildRegime, LayingOutcome
from hullbook.hulls.models import BoatModel, Hull, Laying, Part, Photo, ScheduleLine, ScheduleRevision
from hullbook.hulls.services import GivenLine, GivenZone
from hullbook.materials.models import Lot
from hullbook.records.models import Entry
from hullbook.records.services import Told
from tests.cast import DAY, MORNING, Shop, open_shop, told
from tests.materials.factories import Shelf, stock_shelf

SHELL = "Hull shell"


def zones() -> list[GivenZone]:
    return [
        GivenZone("Keel", 4.0, 0.0, 620.0, 0.0, 10.0),
        GivenZone("Bottom", 18.0, 620.0, 1450.0, 0.0, 10.0),
    ]


def lines(shelf: Shelf) -> list[GivenLine]:
    return [
        GivenLine(1, "Keel", shelf.csm, "", 0.0, False),
        GivenLine(2, "Keel", shelf.biax, "+-45", 50.0),
        GivenLine(3, "Keel", shelf.uni, "0", 50.0),
        GivenLine(4, "Bottom", shelf.biax, "+-45", 50.0),
        GivenLine(5, "Bottom", shelf.core, "", 0.0),
        GivenLine(6, "Bottom", shelf.biax, "+-45", 50.0),
    ]


def add_tender(name: str = "MB84") -> BoatModel:
    return services.add_boat_model(name=name, length_m=8.4, beam_m=2.9, told=told())


def draft(model: BoatModel, shelf: Shelf, part_name: str = SHELL) -> ScheduleRevision:
    revision = services.begin_revision(boat_model=model, part_name=part_name, drawn_by="EL", at=MORNING)
    services.write_revision(revision=revision, zones=zones(), lines=lines(shelf))
    return revision


def sign(revision: ScheduleRevision) -> ScheduleRevision:
    services.sign_revision(revision=revision, approval="drawing MB84-H-01", told=told())
    return revision


def lay_down(model: BoatModel, shop: Shop, number: str = "MB84-01", **changes: object) -> Hull:
    fields: dict[str, object] = {
        "number": number,
        "boat_model": model,
        "mould": "M84-1",
        "pull_number": 1,
        "bay": shop.bay,
        "build_regime": BuildRegime.COMMERCIAL_SURVEY,
        "customer_reference": "invented order 12",
        "laid_down_on": DAY - dt.timedelta(days=7),
        "part_names": [SHELL],
        "told": told(),
    }
    return services.lay_down_hull(**{**fields, **changes})  # type: ignore[arg-type]


@dataclass(frozen=True)
class Berth:
    """A shop with a stocked shelf, one model with a signed schedule, and one hull whose shell is built to it."""

    shop: Shop
    shelf: Shelf
    model: BoatModel
    revision: ScheduleRevision
    hull: Hull
    part: Part

    def line(self, number: int) -> ScheduleLine:
        return self.revision.lines.select_related("zone", "material").get(number=number)

    def lot_for(self, line: ScheduleLine) -> Lot:
        return self.shelf.lot(line.material)

    def lay(self, number: int, **changes: object) -> Laying:
        """Lay one line as it says, from the lot on the shelf."""
        line = self.line(number)
        fields: dict[str, object] = {
            "part": self.part,
            "zone": line.zone,
            "line": line,
            "outcome": LayingOutcome.LAID,
            "lot": self.lot_for(line),
            "quantity": 4.0,
            "laid_by": "MO",
            "second_person": "RT",
            "deviation": "",
            "told": told("MO"),
        }
        return services.log_laying(**{**fields, **changes})  # type: ignore[arg-type]


def make_berth(*, number: str = "MB84-01") -> Berth:
    shop = open_shop()
    shelf = stock_shelf(shop)
    model = add_tender()
    revision = sign(draft(model, shelf))
    hull = lay_down(model, shop, number)
    part = Part.objects.get(hull=hull)
    services.take_into_force(part=part, revision=revision, told=told())
    return Berth(shop, shelf, model, revision, hull, part)


def picture(width: int = 640, height: int = 480, form: str = "JPEG", **more: object) -> bytes:
    """A picture of nothing: grain, so that it has some size."""
    written = BytesIO()
    Image.effect_noise((width, height), 40).convert("RGB").save(written, form, **more)
    return written.getvalue()


def bring_photo(of: Entry, content: bytes, *, told: Told) -> Photo:
    """All pieces of a photo, and then its entry."""
    digest = sha256(content).hexdigest()
    for number in range(-(-len(content) // services.PIECE_BYTES)):
        piece = content[number * services.PIECE_BYTES : (number + 1) * services.PIECE_BYTES]
        services.keep_piece(device=told.device, digest=digest, number=number, size_bytes=len(content), content=piece)
    made = services.photo_from_pieces(device=told.device, digest=digest, size_bytes=len(content))
    return services.log_photo(of=of, made=made, sent_sha256=digest, original_sha256="", claimed_at=None, told=told)
