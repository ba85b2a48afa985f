"""What changes the book after gel: temperatures read by hand, and the demould."""

from hullbook.cure.models import CureReading, Demoulded
from hullbook.hulls.models import Part
from hullbook.hulls.services import GivenPlace, skin_place
from hullbook.records.services import Refused, Told, append, logs
from hullbook.yard.models import Instrument


@logs
def log_cure_reading(
    *,
    part: Part,
    place: str,
    temperature_c: float,
    thermometer: Instrument,
    told: Told,
    at: GivenPlace | None = None,
) -> CureReading:
    reading = CureReading(part=part, place=place.strip(), temperature_c=temperature_c, thermometer=thermometer)
    return append(reading, skin_place(at), told=told, about=part.hull.number)


@logs
def log_demould(*, part: Part, words: str, told: Told) -> Demoulded:
    earlier = Demoulded.objects.current().filter(part=part).first()
    if earlier is not None:
        raise Refused(f"{part} was demoulded already, in entry {earlier.pk}.")
    return append(Demoulded(part=part, words=words.strip()), told=told, about=part.hull.number)
