from django.db.models import TextChoices


class Role(TextChoices):
    BUILDER = "builder", "builder"
    QUALITY_LEAD = "quality lead", "quality lead"
    OFFICE = "office", "office"


class InstrumentKind(TextChoices):
    GAUGE = "gauge", "vacuum gauge"
    BAROMETER = "barometer", "barometer"
    SCALE = "scale", "scale"
    THERMOMETER = "thermometer", "thermometer"
    HYGROMETER = "hygrometer", "hygrometer"
    HARDNESS_TESTER = "hardness tester", "hardness impressor"
    LOGGER = "logger", "temperature logger"


class LimitName(TextChoices):
    """What a yard sets limits for. The figures are the yard's own, each with its source."""

    HOLD_RISE = "hold test rise", "greatest rise of bag pressure in a hold test, mbar over the stated minutes"
    POUR_RISE = "pour vacuum", "greatest rise of bag pressure from one reading to the next while resin runs, mbar"
    LAMINATE_PEAK = "laminate peak", "warmest the laminate may get while it gels and cures, °C"
    AIR_TEMPERATURE = "air temperature", "air temperature at work, °C"
    HUMIDITY = "humidity", "relative humidity at work, %"
    DEW_MARGIN = "dew margin", "surface above dew point, K"
    CLOSURE = "mass balance", "resin not found again, % of mixed"
    HARDNESS_SHARE = "hardness share", "mean hardness, % of what the resin maker asks for"
