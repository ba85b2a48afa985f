from django.db.models import TextChoices


class MaterialKind(TextChoices):
    REINFORCEMENT = "reinforcement", "reinforcement"
    CORE = "core", "core"
    RESIN = "resin", "resin"
    CATALYST = "catalyst", "catalyst"
    GELCOAT = "gelcoat", "gelcoat"
    CONSUMABLE = "consumable", "consumable"


class StockUnit(TextChoices):
    KILOGRAM = "kg", "kg"
    SQUARE_METRE = "m2", "m²"
    METRE = "m", "m"
    PIECE = "piece", "pieces"


class CoreFinish(TextChoices):
    PLAIN = "plain", "plain"
    GROOVED = "grooved", "grooved"
    PERFORATED = "perforated", "perforated"
    GROOVED_PERFORATED = "grooved and perforated", "grooved and perforated"
    CONTOUR_CUT = "contour-cut", "contour-cut"


class SourceKind(TextChoices):
    """How well a value is founded; shown wherever the value is."""

    DATA_SHEET = "data sheet", "data sheet"
    STANDARD = "standard", "standard"
    YARD = "yard", "the yard's own measurement"
    HANDBOOK = "handbook", "handbook value"
    DEFAULT = "default", "start value, replace it"


class LotState(TextChoices):
    RECEIVED = "received", "received"
    HELD = "held", "held"
    RELEASED = "released", "released"
    REJECTED = "rejected", "rejected"
    USED_UP = "used up", "used up"


class MovementAct(TextChoices):
    RECEIVED = "received", "received"
    USED = "used", "used"
    DISCARDED = "discarded", "discarded"
    UNDONE = "undone", "taken back"
