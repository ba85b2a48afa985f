from django.db.models import TextChoices


class Surface(TextChoices):
    GELCOAT = "gelcoat", "gelcoat"
    LAMINATE = "laminate", "laminate"


class Weighed(TextChoices):
    """What is weighed, or worked out, to find the resin in a part."""

    SHELL = "shell", "part as demoulded and trimmed"
    GELCOAT = "gelcoat and skin coat", "gelcoat and skin coat in it"
    FIBRE = "dry fibre", "dry infused fibre in it"
    CORE = "dry core", "dry core in it"
    INSERTS = "inserts", "inserts and paste in it"


class FindingKind(TextChoices):
    """Words after ASTM D2563 where it has one, else the trade's."""

    DRY_SPOT = "dry spot", "dry spot"
    VOID = "void", "void or air bubble"
    DELAMINATION = "delamination", "delamination"
    CRACK = "crack", "crack"
    RESIN_RICH = "resin-rich edge", "resin-rich place"
    PRINT_THROUGH = "print-through", "print-through"
    BRIDGING = "bridging", "bridging"
    OTHER = "other", "other"
    NOTHING = "looked, nothing found", "looked, nothing found"


class Decision(TextChoices):
    REWORK = "rework", "rework"
    REPAIR = "repair", "repair"
    ACCEPT = "accept", "accept as it is"
    CONCESSION = "concession", "accept under concession"
    REJECT = "reject", "reject"
