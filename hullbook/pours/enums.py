from django.db.models import TextChoices

from hullbook.calc.errors import InputRefused
from hullbook.calc.vacuum import absolute_from_gauge


class GaugeKind(TextChoices):
    ABSOLUTE = "absolute", "absolute"
    BELOW_ATMOSPHERE = "below atmosphere", "below the air pressure of the moment"

    def absolute_mbar(self, shown_mbar: float, station_mbar: float | None) -> float:
        """What a gauge of this kind shows, with or without a sign, as mbar absolute.

        Raises `missing` for a gauge below atmosphere without a barometer, else as `absolute_from_gauge`.
        """
        if self is GaugeKind.ABSOLUTE:
            return shown_mbar
        if station_mbar is None:
            accepted = "a gauge that reads below atmosphere needs the barometer"
            raise InputRefused("missing", "station_mbar", "nothing", accepted)
        return absolute_from_gauge(abs(shown_mbar), station_mbar)


class ComponentRole(TextChoices):
    RESIN = "resin", "resin"
    CATALYST = "catalyst", "catalyst or hardener"
    ADDITION = "addition", "other addition"


class RemainderPlace(TextChoices):
    """Where mixed resin is found again outside the part."""

    PAIL = "pail", "left in a pail"
    MEDIUM = "medium and peel ply", "in flow medium, peel ply and feed channels, gross less dry"
    HOSES = "hoses", "in feed lines and hoses"
    FLANGE = "flange and brake", "in flange and brake trim"
    TRAP = "resin trap", "in the resin trap"
    CUPS = "cups and spill", "in gel cups, on stirrers, spilt"


class GelPlace(TextChoices):
    CUP = "cup", "gel cup"
    PAIL = "pail", "in the pail"
    PART = "part", "in the part"


class PlanItemKind(TextChoices):
    LAMINATE = "laminate", "laminate"
    CORE = "core", "core"
    MEDIUM = "flow medium", "flow medium"
    PEEL_PLY = "peel ply", "peel ply"
    CHANNELS = "feed channels", "feed channels"
    HOSES = "hoses", "hoses"
    BRAKE = "flange and brake", "flange overrun and brake"
    TRAP = "resin trap", "resin trap"
    PAIL_FILM = "pail film", "film left in pails"
    HEEL = "heel", "heel of the last pail"
    CUPS = "cups", "mixing, gel cups and drips"


class PlanOrderKind(TextChoices):
    """What a pour plan says beside its figures."""

    PLACE = "place", "place"
    STOP = "stop", "stop condition"
    READ_TO = "read to", "read to"


class InletMove(TextChoices):
    OPENED = "open", "open"
    SHUT = "shut", "shut"


class ReadingOf(TextChoices):
    """What is read while resin runs. The shed's air is in the bay's climate."""

    BAG_PRESSURE = "bag pressure", "bag pressure"
    RESIN = "resin", "resin in the pail"
    LAMINATE = "laminate", "laminate"


class TroubleKind(TextChoices):
    LEAK = "leak", "leak"
    INLET_BLOCKED = "inlet blocked", "inlet blocked, or gelled in the line"
    PAIL_SPOILT = "pail spoilt", "pail spoilt or gone hot"
    DRY_CORNER = "dry corner", "dry corner, the front stalls"
    VACUUM_LOST = "vacuum lost", "vacuum lost"
    GAUGE_CHANGED = "gauge changed", "gauge changed"
    POWER_CUT = "power cut", "power cut"
    ALL_STOP = "all stop", "all stop"
    OTHER = "other", "something else"


class PailEnded(TextChoices):
    EMPTY = "empty", "empty"
    DUMPED = "dumped", "dumped"


class AlarmRank(TextChoices):
    NOW = "now", "NOW"
    SOON = "soon", "SOON"
