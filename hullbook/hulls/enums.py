from dataclasses import dataclass

from django.db.models import TextChoices


class BuildRegime(TextChoices):
    RECREATIONAL = "recreational", "recreational craft"
    COMMERCIAL_SURVEY = "commercial survey", "commercial craft under survey"
    OTHER = "other", "other, as agreed"


class CraftNumberForm(TextChoices):
    US = "US", "12 characters, 33 CFR 181.25"
    ISO = "ISO", "country and 12 characters, ISO 10087"


class Side(TextChoices):
    BOTH = "both", "both sides"
    PORT = "port", "port"
    STARBOARD = "starboard", "starboard"


class HullSide(TextChoices):
    STARBOARD = "starboard", "starboard"
    PORT = "port", "port"


class InShed(TextChoices):
    BAY = "bay", "bay"
    MOULD = "mould", "mould"
    HULL = "hull", "hull out of its mould"


class RevisionState(TextChoices):
    DRAFT = "draft", "draft"
    SIGNED = "signed", "signed"
    SUPERSEDED = "superseded", "superseded"


class LayingOutcome(TextChoices):
    LAID = "laid", "laid as the line says"
    OTHERWISE = "laid otherwise", "laid otherwise"
    NOT_LAID = "not laid", "not laid"
    EXTRA = "extra", "laid beside the schedule"


class HoldPointKind(TextChoices):
    HOLD = "H", "work stops until it is released"
    WITNESS = "H, W", "work stops until it is released; a surveyor is told before"
    REVIEW = "R", "what is in the book is read"


class PaperKind(TextChoices):
    """What a dry sheet is for: the same fields as the page, empty."""

    LAY_UP = "lay-up", "lay-up"
    HOLD_TEST = "hold test", "hold test"
    POUR = "pour", "pour"


@dataclass(frozen=True)
class HoldPoint:
    """Where work stops until the quality lead has released it in the book."""

    number: int
    before: str
    kind: HoldPointKind
    must_be_true: str


# Common practice of yards that build under survey; the surveyor of a hull may ask for more.
HOLD_POINTS = (
    HoldPoint(0, "laying down", HoldPointKind.HOLD, "Plans approved, procedures in force, hull number given."),
    HoldPoint(1, "using any lot", HoldPointKind.HOLD, "Lots received, looked at, certificate there, released."),
    HoldPoint(
        2,
        "first fibre",
        HoldPointKind.HOLD,
        "Mould, release agent, gelcoat film, skin coat cured; climate for 24 h; instruments in date.",
    ),
    HoldPoint(3, "core", HoldPointKind.WITNESS, "Outer skin laid and checked by a second person; laps; photos."),
    HoldPoint(
        4, "bag", HoldPointKind.WITNESS, "Core, inner skin, inserts, all lines laid; nothing left behind in the bag."
    ),
    HoldPoint(
        5,
        "pour",
        HoldPointKind.WITNESS,
        "Hold test passed; pails, lots, catalyst, scale, clocks, gel cup, crew, spare pump; the rule for stopping read "
        "aloud; resin and mould temperature and climate in range.",
    ),
    HoldPoint(6, "bag off", HoldPointKind.HOLD, "Gel logged everywhere, the peak passed, vacuum held until then."),
    HoldPoint(7, "demould", HoldPointKind.HOLD, "Hours and hardness or temperature show that it is cured enough."),
    HoldPoint(8, "end of post-cure", HoldPointKind.REVIEW, "The temperatures meet the procedure."),
    HoldPoint(
        9,
        "trim, fairing and paint",
        HoldPointKind.WITNESS,
        "Looked at on both sides, hardness, thickness, weight: the last sight of the bare laminate.",
    ),
    HoldPoint(10, "structure closed in", HoldPointKind.WITNESS, "Tabbing, bonds and hull-deck joint seen."),
    HoldPoint(11, "launch or dispatch", HoldPointKind.HOLD, "Findings closed, framing fitted, craft number affixed."),
    HoldPoint(12, "issue of the dossier", HoldPointKind.HOLD, "Nothing missing that cannot be left open."),
)
